"""One visit to the power and harness screens: which is on top, what was read, and what the walk gets back."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from textual.screen import Screen

from probe.cautions import Moment
from probe.document.model import PlayfieldMap
from probe.ui.harness import HarnessScreen
from probe.ui.planning import CautionScreen, Desk, PlanningScreen
from probe.ui.power import PowerScreen

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp

_MOMENTS = {"power": Moment.PLANNING, "harness": Moment.OPENING}


class Bench:
    """Opens the screens of one desk. Cautions come first, once for each kind of work while the program runs."""

    def __init__(
        self, app: ProbeApp, m: PlayfieldMap, chain: str, number: int, give_back: Callable[[PlayfieldMap], None]
    ) -> None:
        self._app = app
        self._number = number
        self._give_back = give_back
        self.desk = Desk(m, chain)
        self.desk.kept = give_back

    def screen(self, which: str) -> Screen[Any]:
        """What stands on the stack for it: the screen, or its cautions first."""
        moment = _MOMENTS[which]
        if moment in self._app.cautions_read:
            return self._made(which)
        return CautionScreen(moment, self._read(which, moment))

    def _read(self, which: str, moment: Moment) -> Callable[[bool], None]:
        def read(yes: bool) -> None:
            if yes:
                self._app.cautions_read.add(moment)
                self._app.show_instead(self._made(which))
            else:
                self._app.pop_old()

        return read

    def open(self, which: str) -> None:
        """Show one of the screens, after its cautions if they have not been read."""
        moment = _MOMENTS[which]
        if moment in self._app.cautions_read:
            self._push(which)
            return

        def read(yes: bool | None) -> None:
            if yes:
                self._app.cautions_read.add(moment)
                self._push(which)

        self._app.push_screen(CautionScreen(moment), read)

    def _push(self, which: str) -> None:
        """On top of the walk there is one of the two at a time."""
        self._app.show_instead(self._made(which))

    def _made(self, which: str) -> Screen[Any]:
        screen: PlanningScreen
        if which == "power":
            screen = PowerScreen(self.desk, lambda: self.open("harness"), plain_ascii=self._app.plan.plain_ascii)
        else:
            screen = HarnessScreen(self.desk, lambda: self.open("power"), number=self._number)
        return screen
