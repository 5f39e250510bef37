"""A time-stamped log of the wire, one line for each piece that was sent or came."""

from __future__ import annotations

from pathlib import Path


class WireLog:
    """Appends lines such as `12.345678 out ">01 id*A1B2\\n"` to a file. Trouble with the file stops the log, not the work."""

    def __init__(self, path: str) -> None:
        self._file = Path(path).open("a", encoding="ascii", buffering=1)  # noqa: SIM115 - lives as long as the link

    def __call__(self, seconds: float, direction: str, data: bytes) -> None:
        if self._file.closed:
            return
        text = data.decode("latin-1").encode("unicode_escape").decode("ascii").replace('"', '\\"')
        try:
            self._file.write(f'{seconds:.6f} {direction} "{text}"\n')
        except OSError:
            self._file.close()
