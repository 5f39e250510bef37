"""Events that the screen itself answers: what only what is drawn knows of. A task never sees them."""

from __future__ import annotations

from dataclasses import dataclass

from probe.cautions import Moment


class ScreenEvent:
    """Given by a command to the screen that shows it, not to the task."""


@dataclass(frozen=True)
class FlipPicture(ScreenEvent):
    """See the picture from the other side."""


@dataclass(frozen=True)
class MarkInPicture(ScreenEvent):
    """Move a mark in the picture with the arrows; Enter points there."""


@dataclass(frozen=True)
class ReadOn(ScreenEvent):
    """Scroll what is too long for its pane, by so many screens' halves."""

    by: int = 1


@dataclass(frozen=True)
class ReadOnOr(ScreenEvent):
    """Scroll as `ReadOn` where what is shown is long; elsewhere this event is the task's."""

    event: object
    by: int = 1


@dataclass(frozen=True)
class UnderTheGlass(ScreenEvent):
    """In the demo: the picture as it should be, or as it is under the glass."""


@dataclass(frozen=True)
class TourOn(ScreenEvent):
    """Begin the tour, or go on to its next sentence."""


@dataclass(frozen=True)
class TourOver(ScreenEvent):
    """End the tour."""


@dataclass(frozen=True)
class Search(ScreenEvent):
    """Open the search line of a table."""


@dataclass(frozen=True)
class Details(ScreenEvent):
    """Show or hide what stands below a table."""


@dataclass(frozen=True)
class Help(ScreenEvent):
    """Say the keys of this screen, and the cautions."""


@dataclass(frozen=True)
class ReadCautions(ScreenEvent):
    """Read the cautions of a moment once more."""

    moment: Moment


@dataclass(frozen=True)
class Quit(ScreenEvent):
    """Leave the program."""


@dataclass(frozen=True)
class SaveScreen(ScreenEvent):
    """Save what the screen shows, as SVG, beside the map."""


@dataclass(frozen=True)
class PickPort(ScreenEvent):
    """Pick another port."""
