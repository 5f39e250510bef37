"""Events that the screen itself answers: what only what is drawn knows of. A task never sees them."""

from __future__ import annotations

from probe.cautions import Moment
from probe.frozen import frozen


class ScreenEvent:
    """Given by a command to the screen that shows it, not to the task."""


@frozen
class FlipPicture(ScreenEvent):
    """See the picture from the other side."""


@frozen
class NextZoom(ScreenEvent):
    """The whole playfield, half of it around what is lit, or the area of what is lit."""


@frozen
class ShowRoute(ScreenEvent):
    """How the chain runs, or not."""


@frozen
class MarkInPicture(ScreenEvent):
    """Move a mark in the picture with the arrows; Enter points there. `across`: at once so many cells to the right."""

    across: int = 0


@frozen
class ReadOn(ScreenEvent):
    """Scroll what is too long for its pane, by so many screens' halves."""

    by: int = 1


@frozen
class ReadOnOr(ScreenEvent):
    """Scroll as `ReadOn` where what is shown is long; elsewhere this event is the task's."""

    event: object
    by: int = 1


@frozen
class NextPane(ScreenEvent):
    """The keys go to the pane that can be read, or back."""


@frozen
class UnderTheGlass(ScreenEvent):
    """In the demo: the picture as it should be, or as it is under the glass."""


@frozen
class TourOn(ScreenEvent):
    """Begin the tour, or go on to its next sentence."""


@frozen
class TourOver(ScreenEvent):
    """End the tour."""


@frozen
class Search(ScreenEvent):
    """Open the search line of a table."""


@frozen
class Details(ScreenEvent):
    """Show or hide what stands below a table."""


@frozen
class Help(ScreenEvent):
    """Say the keys of this screen, and the cautions."""


@frozen
class ReadCautions(ScreenEvent):
    """Read the cautions of a moment once more."""

    moment: Moment


@frozen
class Quit(ScreenEvent):
    """Leave the program."""


@frozen
class OpenMenu(ScreenEvent):
    """Everything there is to do, in groups."""


@frozen
class OpenPalette(ScreenEvent):
    """Find a command by its name."""


@frozen
class OpenGuide(ScreenEvent):
    """Read the guide."""


@frozen
class OpenSettings(ScreenEvent):
    """Change the settings."""


@frozen
class WriteExport(ScreenEvent):
    """Write the map in another form."""


@frozen
class WriteSheet(ScreenEvent):
    """Write the papers for the cabinet."""


@frozen
class GoOn(ScreenEvent):
    """Save, close this map, and go on with something else: words of a command line, or `home`."""

    then: tuple[str, ...]


@frozen
class InTheShell(ScreenEvent):
    """Nothing: it is done by a command in the shell."""


@frozen
class SaveScreen(ScreenEvent):
    """Save what the screen shows, as SVG, beside the map."""


@frozen
class PickPort(ScreenEvent):
    """Pick another port."""
