"""The command `playfield-probe`. Textual is imported only when a screen opens."""

from __future__ import annotations

import sys

from probe import VERSION_LINE

TYPE_CHECKING = False  # typing itself takes longer to load than all that `--version` needs
if TYPE_CHECKING:
    from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    if (sys.argv[1:] if argv is None else list(argv)) == ["--version"]:
        print(VERSION_LINE)  # noqa: T201 - as the parser would, which takes as long to load as the interpreter
        return 0
    import gc
    import os

    gc.set_threshold(50_000)  # loading makes no garbage: looking for it took a tenth of the time to the first picture
    os.environ.setdefault(
        "PYDANTIC_DISABLE_PLUGINS", "__all__"
    )  # none is wanted: looking through all packages takes long
    from probe.cli.parser import build_parser

    arguments = build_parser().parse_args(argv)
    from probe.cli.run import run

    return run(arguments)


if __name__ == "__main__":
    sys.exit(main())
