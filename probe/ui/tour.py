"""The tour's line at the foot of the walk. It looks at the walk by itself and changes nothing in it."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.widgets import Static

from probe.mapping.tour import Sight, Tour, look, skip
from probe.ui.text import plain

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp

LOOK_EVERY_S = 0.2
SIGNS = "(F10,\u00a06:\u00a0T\u00a0next,\u00a0E\u00a0end)"


class TourLine(Static):
    """Says the tour's sentence; goes when it is over."""

    app: ProbeApp
    DEFAULT_CSS: ClassVar[str] = """
    TourLine { dock: bottom; height: auto; max-height: 4; margin-bottom: 1; padding: 0 1; background: $primary 30%; }
    """

    def __init__(self) -> None:
        super().__init__(id="tour")
        self.tour = Tour()
        self._shown = ""

    def on_mount(self) -> None:
        self._look()
        self.set_interval(LOOK_EVERY_S, self._look)

    def skip(self) -> None:
        """The next sentence."""
        self._show(skip(self.tour))

    def _look(self) -> None:
        walk = self.app.walk
        if walk is None:
            return
        screen_name = type(self.app.screen).__name__
        sight = Sight(
            walk.chain, walk.number, walk.answered, "WalkScreen" if screen_name == "TaskScreen" else screen_name
        )
        self._show(look(self.tour, sight))

    def _show(self, tour: Tour) -> None:
        self.tour = tour
        if tour.over:
            self.remove()
        elif tour.words != self._shown:
            self._shown = tour.words
            self.update(plain(f"{tour.words}   {SIGNS}"))
