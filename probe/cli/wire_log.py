"""A time-stamped log of the wire, one line for each piece that was sent or came (its form: `probe.link.replay`)."""

from __future__ import annotations

from pathlib import Path

from probe.link.replay import entry_text


class WireLog:
    """Appends entries to a file. Trouble with the file stops the log, not the work. Opening it may raise OSError."""

    def __init__(self, path: str) -> None:
        self._file = Path(path).open("a", encoding="ascii", buffering=1)  # noqa: SIM115 - lives as long as the link

    def __call__(self, seconds: float, direction: str, data: bytes) -> None:
        if self._file.closed:
            return
        try:
            self._file.write(entry_text(seconds, direction, data) + "\n")
        except OSError:
            self._file.close()
