"""A screen over another one, closed once."""

from __future__ import annotations

from textual.await_complete import AwaitComplete
from textual.screen import ModalScreen, ScreenResultType


class Dialog(ModalScreen[ScreenResultType]):
    """Closes once: a key or a click that comes when it has closed does not close the screen below it."""

    def dismiss(self, result: ScreenResultType | None = None) -> AwaitComplete:
        """Close it and give the result, if it stands on the screen."""
        return super().dismiss(result) if self.is_current else AwaitComplete()
