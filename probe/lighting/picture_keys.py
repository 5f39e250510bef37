"""What a person can do in the picture beyond what all tasks know, and its commands."""

from __future__ import annotations

from enum import Enum, auto

from probe.frozen import frozen
from probe.task import events as ev
from probe.task.command import Command
from probe.task.screen import FlipPicture, MarkInPicture

FINE_STEP = 3
COARSE_STEP = 13
"""About 1 and 5 of lightness L*: a difference just seen side by side, and one seen at a glance. Common practice."""


class EntryUse(Enum):
    """What the entry line is for."""

    NONE = auto()
    POSITION = auto()
    LEVEL = auto()
    COLOUR = auto()
    DEPTH = auto()
    FIND = auto()


class LitMode(Enum):
    """What is lit. The value is the word on screen."""

    ONE = "this place"
    GROUP = "its group"
    ALL = "every place"


@frozen
class PickPlace:
    """Choose a place and light it."""

    place: str


@frozen
class StepPlace:
    """The next or previous place along the chains; places without a pixel come last."""

    by: int = 1


@frozen
class MovePlace:
    """The chosen place is here, in mm as seen from above."""

    x_mm: float
    y_mm: float


@frozen
class OpenEntry:
    """Use the entry line for this."""

    use: EntryUse


@frozen
class TakeEntry(ev.Take):
    """Enter. `from_below`: positions are measured by somebody who looks from below."""

    from_below: bool = False


@frozen
class StepLevel:
    """Brighter or dimmer, in steps of the level."""

    by: int


@frozen
class NextWhite:
    """The next white, from warm to cool."""

    by: int = 1


@frozen
class UseAdvice:
    """Set colour and level as common practice has it."""


@frozen
class ToggleWhole:
    """Change the place alone, or its whole group."""


@frozen
class FollowGroup:
    """The places of the group say nothing themselves any more."""


@frozen
class CopyLight:
    """Keep this level and colour."""


@frozen
class PasteLight:
    """Give the place (or its group) the level and colour that were kept."""


@frozen
class ComparePlaces:
    """The first time: keep this place to compare with. Then: alternate it with the one chosen now; again: stop."""


@frozen
class NextLitMode:
    """Light the place, its group, every place."""


@frozen
class ToggleFade:
    """Let lamps glow up and down like bulbs in the game, or switch at once."""


@frozen
class ToggleDiffuser:
    """Something white is on this place's pixels, or not."""


@frozen
class ToggleUnit:
    """Bare numbers are millimetres or inches."""


@frozen
class ToggleZoom:
    """Only the area of the chosen place is drawn, or the whole playfield."""


@frozen
class ToggleRoute:
    """Draw the route of the chains with their numbers, or not."""


@frozen
class ToggleGrid:
    """Draw the letters and numbers of the grid, or not."""


COMMANDS = (
    Command("picture.take", ("enter",), "Set the mark, or light again", TakeEntry()),
    Command("picture.go.up", ("up",), "The next place that way (arrows), or move the mark", ev.GoTowards(0, 1)),
    Command("picture.go.down", ("down",), "Down", ev.GoTowards(0, -1)),
    Command("picture.go.left", ("left",), "Left", ev.GoTowards(-1, 0)),
    Command("picture.go.right", ("right",), "Right", ev.GoTowards(1, 0)),
    Command("picture.move.1", ("pagedown",), "Next place along the chain", StepPlace(1)),
    Command("picture.move.-1", ("pageup",), "Place before", StepPlace(-1)),
    Command("picture.point", ("f2",), "Point", MarkInPicture(), shown=True),
    Command("picture.ask.POSITION", ("f3",), "Position", OpenEntry(EntryUse.POSITION), shown=True),
    Command("picture.compare", ("f4", "x"), "Compare", ComparePlaces(), shown=True),
    Command("picture.evenness", ("f5",), "Evenness", ev.GoOpen("evenness"), shown=True),
    Command("picture.shapes", ("s",), "Shapes of the playfield", ev.GoOpen("shapes")),
    Command("picture.mode", ("f6", "m"), "Light all", NextLitMode(), shown=True),
    Command("picture.level.1", ("plus",), "Brighter", StepLevel(COARSE_STEP)),
    Command("picture.level.-1", ("minus",), "Dimmer", StepLevel(-COARSE_STEP)),
    Command("picture.level_fine.1", ("full_stop",), "A little brighter", StepLevel(FINE_STEP)),
    Command("picture.level_fine.-1", ("comma",), "A little dimmer", StepLevel(-FINE_STEP)),
    Command("picture.ask.LEVEL", ("l",), "Type a level", OpenEntry(EntryUse.LEVEL)),
    Command("picture.ask.COLOUR", ("c",), "Type a colour", OpenEntry(EntryUse.COLOUR)),
    Command("picture.warmth", ("w",), "Next white, warm to cool", NextWhite()),
    Command("picture.advice", ("a",), "Light as common practice has it", UseAdvice()),
    Command("picture.whole", ("g",), "Change the place or its whole group", ToggleWhole()),
    Command("picture.follow", ("t",), "The places of the group follow the group", FollowGroup()),
    Command("picture.copy_light", ("y",), "Copy level and colour", CopyLight()),
    Command("picture.paste_light", ("v",), "Give it the level and colour copied", PasteLight()),
    Command("picture.fade", ("f",), "Fade like bulbs in the game, or not", ToggleFade()),
    Command("picture.ask.DEPTH", ("d",), "Type how deep the pixel sits", OpenEntry(EntryUse.DEPTH)),
    Command("picture.diffuser", ("i",), "Diffuser on or off", ToggleDiffuser()),
    Command("picture.unit", ("u",), "Millimetres or inches", ToggleUnit()),
    Command("picture.zoom", ("z",), "Zoom to the area, or back", ToggleZoom()),
    Command("picture.route", ("r",), "Route and numbers on or off", ToggleRoute()),
    Command("picture.grid", ("n",), "Grid on or off", ToggleGrid()),
    Command("picture.flip", ("b",), "Picture from above or below", FlipPicture()),
    Command("picture.ask.FIND", ("slash",), "Find a place", OpenEntry(EntryUse.FIND)),
    Command("picture.undo", ("ctrl+z",), "Undo", ev.Undo()),
    Command("picture.redo", ("ctrl+y",), "Redo", ev.Redo()),
    Command("picture.retry", ("ctrl+r",), "Save and light again", ev.Retry()),
    Command("picture.leave", ("escape",), "Out of the line, or back", ev.Leave()),
)
