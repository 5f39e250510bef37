"""What a person can do from the lamp list to the proof, beyond what all tasks know; and the commands of these tasks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from probe.document.model.game import Verdict
from probe.task import events as ev
from probe.task.command import Command, Means
from probe.task.screen import FlipPicture, NextZoom, ReadOn, UnderTheGlass

# -- the lamp list -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class AddLamp:
    """A new row after the one in hand."""


@dataclass(frozen=True)
class RemoveLamp:
    """Take the row in hand out. Its places keep their number."""


@dataclass(frozen=True)
class MoveLamp:
    """Move the row in hand up (-1) or down (1)."""

    by: int


@dataclass(frozen=True)
class JoinByName:
    """Look for places that may be rows of the list, by name; of proposals, pass over the one that is shown."""


@dataclass(frozen=True)
class JoinAllSure:
    """Join every place whose row is sure."""


@dataclass(frozen=True)
class JoinByHand:
    """Pick a place for the row in hand."""


@dataclass(frozen=True)
class Unjoin:
    """Take all places off the row in hand."""


def _joining(s: Any) -> bool:
    return bool(s.matches)


LAMPS = (
    Command("lamps.take", Means.DO, "Change", ev.Take(), shown=True),
    Command("lamps.add", Means.ADD, "Add", AddLamp(), shown=True),
    Command("lamps.skip", Means.MORE, "Join by name", JoinByName(), shown=True, letter="a"),
    Command("lamps.join", Means.MORE, "Join to a place", JoinByHand(), letter="j"),
    Command("lamps.all_sure", Means.MORE, "Join all sure ones", JoinAllSure(), letter="e"),
    Command("lamps.unjoin", Means.MORE, "Take its places off", Unjoin(), letter="t"),
    Command("lamps.not_so", Means.NO, "Not this one", JoinByName(), shown=True, when=_joining),
    Command("lamps.remove", Means.TAKE_OUT, "Take this row out", RemoveLamp()),
    Command("lamps.move_row.-1", Means.MORE, "Move the row up", MoveLamp(-1), letter="u", stays=True),
    Command("lamps.move_row.1", Means.MORE, "Move the row down", MoveLamp(1), letter="d", stays=True),
    Command("lamps.undo", Means.UNDO, "Undo", ev.Undo()),
    Command("lamps.retry", Means.AGAIN, "Save again", ev.Retry()),
    Command("lamps.leave", Means.BACK, "Back", ev.Leave()),
)

LAMP = (
    Command("lamp.take", Means.DO, "Keep it", ev.Take(), shown=True),
    Command("lamp.choose.1", Means.DOWN, "Next field", ev.Choose(1)),
    Command("lamp.choose.-1", Means.UP, "Field before", ev.Choose(-1)),
    Command("lamp.pane.1", Means.NEXT_PANE, "Next field", ev.Choose(1)),
    Command("lamp.pane.-1", Means.PANE_BEFORE, "Field before", ev.Choose(-1)),
    Command("lamp.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)

PICK = (
    Command("pick.take", Means.DO, "Take", ev.Take(), shown=True),
    Command("pick.choose.1", Means.DOWN, "Next", ev.Choose(1)),
    Command("pick.choose.-1", Means.UP, "Before", ev.Choose(-1)),
    Command("pick.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)

# -- the board's table ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CompareTables:
    """Read the board's table anew and compare."""


@dataclass(frozen=True)
class WriteWhole:
    """Write the map's table, then read it back."""


@dataclass(frozen=True)
class HandOver:
    """Let the game have the pixels, or take them back; `to_game` None: whichever it is not."""

    to_game: bool | None = None


BOARD = (
    Command("board.write", Means.MORE, "Write it", WriteWhole(), shown=True, letter="w"),
    Command("board.compare", Means.DO, "Read again", CompareTables(), shown=True),
    Command("board.hand_over", Means.MORE, "Game lights", HandOver(), shown=True, letter="g"),
    Command("board.read.1", Means.ONWARD, "Read on", ReadOn(1)),
    Command("board.read.-1", Means.BEFORE, "Read back", ReadOn(-1)),
    Command("board.line.1", Means.DOWN, "A few lines on", ReadOn(1)),
    Command("board.line.-1", Means.UP, "A few lines back", ReadOn(-1)),
    Command("board.leave", Means.BACK, "Back", ev.Leave()),
)

# -- the game's lamps, live ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mismatch:
    """What is seen is not what the map predicts for the chosen input. `time` is now, RFC 3339 UTC."""

    time: str = ""
    seen: str = ""


@dataclass(frozen=True)
class ForgetChanges:
    """Forget the changes so far: the next press stands alone."""


@dataclass(frozen=True)
class ChangeLinger:
    """A longer (+1) or shorter (-1) hold-on time."""

    by: int


@dataclass(frozen=True)
class PressTarget:
    """In the demo: press a target of the simulated game."""


@dataclass(frozen=True)
class LampTest:
    """In the demo: the simulated game's lamp test begins, or ends."""


def _simulated(s: Any) -> bool:
    return bool(s.simulated and s.typed is None)


def _watching(s: Any) -> bool:
    return s.typed is None


WATCH = (
    Command("watch.choose.1", Means.DOWN, "Next change", ev.Choose(1)),
    Command("watch.choose.-1", Means.UP, "Change before", ev.Choose(-1)),
    Command("watch.learn", Means.DO, "That is …", ev.Take(), shown=True),
    Command("watch.mismatch", Means.NO, "Not so", Mismatch(), shown=True, when=_watching),
    Command("watch.linger.1", Means.RIGHT, "Longer hold-on time", ChangeLinger(1), when=_watching),
    Command("watch.linger.-1", Means.LEFT, "Shorter hold-on time", ChangeLinger(-1), when=_watching),
    Command(
        "watch.press",
        Means.BY_LETTER,
        "Demo: press a target",
        PressTarget(),
        shown=True,
        when=_simulated,
        letter="p",
        short="Press one",
    ),
    Command(
        "watch.lamp_test",
        Means.BY_LETTER,
        "Demo: lamp test",
        LampTest(),
        shown=True,
        when=_simulated,
        letter="t",
        short="Lamp test",
    ),
    Command("watch.forget", Means.MORE, "Start anew", ForgetChanges(), shown=True, letter="x"),
    Command("watch.hand_over", Means.MORE, "Game lights", HandOver(True), shown=True, letter="g"),
    Command("watch.zoom", Means.PICTURE, "Whole, half, area", NextZoom(), letter="z", stays=True),
    Command("watch.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command(
        "watch.eyes",
        Means.PICTURE,
        "Demo: what is lit under the glass",
        UnderTheGlass(),
        when=_simulated,
        letter="s",
    ),
    Command("watch.undo", Means.UNDO, "Undo", ev.Undo()),
    Command("watch.leave", Means.BACK, "Back", ev.Leave()),
)

# -- the proof -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class NextLamp:
    """Another lamp or group; `open_only` passes over what is proved."""

    by: int = 1
    open_only: bool = False


@dataclass(frozen=True)
class SayVerdict:
    """What was seen. `time` is now, RFC 3339 UTC."""

    verdict: Verdict
    time: str = ""
    note: str = ""


PROVE = (
    Command("prove.say.RIGHT", Means.DO, "Right", SayVerdict(Verdict.RIGHT), shown=True, letter="y"),
    Command("prove.say.WRONG", Means.NO, "Wrong", SayVerdict(Verdict.WRONG), shown=True, letter="n"),
    Command("prove.say.UNSEEN", Means.YES_BUT, "Not seen", SayVerdict(Verdict.UNSEEN), shown=True),
    Command("prove.move.1", Means.ONWARD, "Next", NextLamp(1)),
    Command("prove.move.-1", Means.BEFORE, "Before", NextLamp(-1)),
    Command("prove.next_open", Means.NEXT_OPEN, "Next not proved", NextLamp(open_only=True)),
    Command("prove.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("prove.undo", Means.UNDO, "Undo", ev.Undo(), shown=True),
    Command("prove.again", Means.AGAIN, "Light again", ev.Retry()),
    Command("prove.leave", Means.BACK, "Back", ev.Leave()),
)

COMMANDS = (*LAMPS, *LAMP, *PICK, *BOARD, *WATCH, *PROVE)
