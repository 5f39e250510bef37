"""The command `playfield-probe`. Textual is imported only when a screen opens."""

from __future__ import annotations

import sys

from probe import VERSION_LINE

TYPE_CHECKING = False  # typing itself takes longer to load than all that `--version` needs
if TYPE_CHECKING:
    from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    given = sys.argv[1:] if argv is None else list(argv)
    if given == ["--version"]:
        print(VERSION_LINE)  # noqa: T201 - as the parser would, which takes as long to load as the interpreter
        return 0
    import gc

    gc.set_threshold(200_000)  # loading makes no garbage: looking for it took a tenth of the time to the first picture
    _leave_plugins_out()
    from probe.cli.parser import COMMANDS, build_parser

    arguments = build_parser(given[0] if given and given[0] in COMMANDS else None).parse_args(given)
    from probe.cli.run import run

    return run(arguments)


def _leave_plugins_out() -> None:
    """Let pydantic find no plugins: none is wanted, and what looks for them loads a reader of mail and of archives.

    Its module is stood in for; whatever else is asked of it loads it.
    """
    from importlib import import_module
    from types import ModuleType

    class Loader(ModuleType):
        @staticmethod
        def get_plugins() -> tuple[()]:
            return ()

        def __getattr__(self, wanted: str) -> object:
            if wanted.startswith("__"):
                raise AttributeError(wanted)  # the import itself asks for these
            if sys.modules.get(self.__name__) is self:
                del sys.modules[self.__name__]
            return getattr(import_module(self.__name__), wanted)

    name = "pydantic.plugin._loader"
    sys.modules.setdefault(name, Loader(name))


if __name__ == "__main__":
    sys.exit(main())
