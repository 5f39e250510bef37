"""What screens of named lines share: a line is drawn again only when what it says has changed."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from probe.ui.text import cut, plain

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp

_LEAVE_WAIT_S = 3.0


def head_line(where: str, board: str, width: int) -> Content:
    """The first line of a screen `width` cells wide: where one is, then the board, which gets half of it at most."""
    half = max(10, width // 2)
    room = max(10, width - 4 - min(len(board), half))
    return plain(f"{cut(where, room)}   {cut(board, half)}")


def message_line(unsaved: str, message: str) -> Content:
    """The line of words; that the map could not be saved, and why, comes before every other message."""
    if unsaved:
        return plain(f"NOT SAVED: {unsaved} (Ctrl+R tries again)", "bold reverse")
    return plain(message)


class LineScreen(Screen[None]):
    """A screen made of lines, each a `Static` that is known by its id."""

    app: ProbeApp

    def __init__(self) -> None:
        super().__init__()
        self._lines: dict[str, Content] = {}

    def put(self, name: str, content: Content, *, layout: bool = True) -> None:
        """Change a line if it differs. `layout`: its height or width may change with it."""
        if self._lines.get(name) != content:
            self._lines[name] = content
            self.query_one(f"#{name}", Static).update(content, layout=layout)

    async def saved(self) -> None:
        """Wait, not for ever, until what is queued is on disk: another activity is about to get the board."""
        try:
            await asyncio.wait_for(self.app.conductor.settled(), timeout=_LEAVE_WAIT_S)
        except TimeoutError:
            self.log("left with effects still queued")
