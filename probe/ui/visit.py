"""One visit to a screen that changes the map: what it changed becomes a revision of its own when it is left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from probe.document.document import now_text
from probe.document.model import PlayfieldMap
from probe.runtime import Activity
from probe.task.sessions import CloseVisit

if TYPE_CHECKING:
    from probe.ui.app import ProbeApp


class Visit:
    """Knows the map that a screen was opened with. The activity's step is a `Recording`."""

    def __init__(self, m: PlayfieldMap) -> None:
        self._since = m

    def follow(self, m: PlayfieldMap) -> None:
        """The screen goes on with a map that another one has changed; what is in its revisions is not ours."""
        if m.revisions != self._since.revisions:
            self._since = m

    def end(self, app: ProbeApp, activity: Activity[Any]) -> None:
        """Close the visit; the walk goes on with the map, and takes the visit back as that revision."""
        app.conductor.give(activity, CloseVisit(self._since, now_text()))
        m: PlayfieldMap = activity.state.map
        if m.revisions != self._since.revisions:
            self._since = m
            if app.walk_screen is not None:
                app.walk_screen.take_over(m, app.walk_screen.walk.chain)
