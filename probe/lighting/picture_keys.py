"""What a person can do in the picture beyond what all tasks know, and its commands."""

from __future__ import annotations

from enum import Enum, auto

from probe.frozen import frozen
from probe.task import events as ev
from probe.task.command import Command, Means, change_rows
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
    Command("picture.take", Means.DO, "Set the mark, or light again", TakeEntry()),
    Command("picture.go.up", Means.UP, "The next place that way (arrows), or move the mark", ev.GoTowards(0, 1)),
    Command("picture.go.down", Means.DOWN, "Down", ev.GoTowards(0, -1)),
    Command("picture.go.left", Means.LEFT, "Left", ev.GoTowards(-1, 0)),
    Command("picture.go.right", Means.RIGHT, "Right", ev.GoTowards(1, 0)),
    Command("picture.move.1", Means.ONWARD, "Next place along the chain", StepPlace(1)),
    Command("picture.move.-1", Means.BEFORE, "Place before", StepPlace(-1)),
    Command("picture.point", Means.PICTURE, "Point", MarkInPicture(), shown=True, letter="p"),
    Command("picture.ask.POSITION", Means.MORE, "Position", OpenEntry(EntryUse.POSITION), shown=True, letter="p"),
    Command("picture.compare", Means.MORE, "Compare", ComparePlaces(), shown=True, letter="c"),
    Command("picture.mode", Means.LIGHT, "Light all", NextLitMode(), shown=True, letter="a", stays=True),
    Command("picture.level.1", Means.LIGHT, "Brighter", StepLevel(COARSE_STEP), letter="up", stays=True),
    Command("picture.level.-1", Means.LIGHT, "Dimmer", StepLevel(-COARSE_STEP), letter="down", stays=True),
    Command("picture.level_fine.1", Means.LIGHT, "A little brighter", StepLevel(FINE_STEP), letter="right", stays=True),
    Command("picture.level_fine.-1", Means.LIGHT, "A little dimmer", StepLevel(-FINE_STEP), letter="left", stays=True),
    Command("picture.ask.LEVEL", Means.LIGHT, "Type a level", OpenEntry(EntryUse.LEVEL), letter="l"),
    Command("picture.ask.COLOUR", Means.LIGHT, "Type a colour", OpenEntry(EntryUse.COLOUR), letter="c"),
    Command("picture.warmth", Means.LIGHT, "Next white, warm to cool", NextWhite(), letter="w", stays=True),
    Command("picture.advice", Means.LIGHT, "The usual light for its kind", UseAdvice(), letter="r"),
    Command("picture.whole", Means.MORE, "Change the place or its whole group", ToggleWhole(), letter="g"),
    Command("picture.follow", Means.MORE, "The places of the group follow the group", FollowGroup(), letter="f"),
    Command("picture.copy_light", Means.MORE, "Copy level and colour", CopyLight(), letter="y"),
    Command("picture.paste_light", Means.MORE, "Give it the level and colour copied", PasteLight(), letter="v"),
    Command("picture.fade", Means.MORE, "Fade like bulbs in the game, or not", ToggleFade(), letter="d"),
    Command("picture.ask.DEPTH", Means.MORE, "Type how deep the pixel sits", OpenEntry(EntryUse.DEPTH), letter="m"),
    Command("picture.diffuser", Means.MORE, "Diffuser on or off", ToggleDiffuser(), letter="i"),
    Command("picture.unit", Means.PICTURE, "Millimetres or inches", ToggleUnit(), letter="u"),
    Command("picture.zoom", Means.PICTURE, "Zoom to the area, or back", ToggleZoom(), letter="z"),
    Command("picture.route", Means.PICTURE, "Route and numbers on or off", ToggleRoute(), letter="r"),
    Command("picture.grid", Means.PICTURE, "Grid on or off", ToggleGrid(), letter="g"),
    Command("picture.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("picture.ask.FIND", Means.FIND, "Find a place", OpenEntry(EntryUse.FIND)),
    *change_rows("picture", again="Save and light again"),
    Command("picture.leave", Means.BACK, "Back", ev.Leave()),
)
