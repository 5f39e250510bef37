"""What a person can do from the lamp list to the proof, beyond what all tasks know; and the commands of these tasks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from probe.document.model.game import Verdict
from probe.task import events as ev
from probe.task.command import Command
from probe.task.screen import FlipPicture, ReadOn

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


LAMPS = (
    Command("lamps.take", ("enter",), "Change", ev.Take(), shown=True),
    Command("lamps.add", ("f2",), "Add", AddLamp(), shown=True),
    Command("lamps.skip", ("f3",), "Join by name", JoinByName(), shown=True),
    Command("lamps.join", ("f4",), "Join to a place", JoinByHand()),
    Command("lamps.all_sure", ("f6",), "Join all sure ones", JoinAllSure()),
    Command("lamps.unjoin", ("f7",), "Take its places off", Unjoin()),
    Command("lamps.remove", ("f8", "delete"), "Take this row out", RemoveLamp()),
    Command("lamps.move_row.-1", ("minus",), "Move the row up", MoveLamp(-1)),
    Command("lamps.move_row.1", ("plus",), "Move the row down", MoveLamp(1)),
    Command("lamps.board", ("f5",), "Board", ev.GoOpen("board"), shown=True),
    Command("lamps.watch", ("f9",), "Watch", ev.GoOpen("watch"), shown=True),
    Command("lamps.prove", ("f12", "asterisk"), "Prove", ev.GoOpen("prove")),
    Command("lamps.undo", ("ctrl+z",), "Undo", ev.Undo()),
    Command("lamps.retry", ("ctrl+r",), "Save again", ev.Retry()),
    Command("lamps.leave", ("escape",), "Out of joining, or back", ev.Leave()),
)

LAMP = (
    Command("lamp.take", ("enter",), "Keep it", ev.Take(), shown=True),
    Command("lamp.choose.1", ("down", "tab"), "Next field", ev.Choose(1)),
    Command("lamp.choose.-1", ("up", "shift+tab"), "Field before", ev.Choose(-1)),
    Command("lamp.leave", ("escape",), "Back", ev.Leave(), shown=True),
)

PICK = (
    Command("pick.take", ("enter",), "Take", ev.Take(), shown=True),
    Command("pick.choose.1", ("down",), "Next", ev.Choose(1)),
    Command("pick.choose.-1", ("up",), "Before", ev.Choose(-1)),
    Command("pick.leave", ("escape",), "Back", ev.Leave(), shown=True),
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
    Command("board.write", ("f2",), "Write it", WriteWhole(), shown=True),
    Command("board.compare", ("f5", "enter"), "Read again", CompareTables(), shown=True),
    Command("board.hand_over", ("f6",), "Game lights", HandOver(), shown=True),
    Command("board.watch", ("f9",), "Watch", ev.GoOpen("watch"), shown=True),
    Command("board.prove", ("f12", "asterisk"), "Prove", ev.GoOpen("prove"), shown=True),
    Command("board.read.1", ("down", "pagedown"), "Read on", ReadOn(1)),
    Command("board.read.-1", ("up", "pageup"), "Read back", ReadOn(-1)),
    Command("board.leave", ("escape",), "Back", ev.Leave()),
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
    Command("watch.choose.1", ("down", "pagedown"), "Next change", ev.Choose(1)),
    Command("watch.choose.-1", ("up", "pageup"), "Change before", ev.Choose(-1)),
    Command("watch.learn", ("enter",), "That is …", ev.Take(), shown=True),
    Command("watch.forget", ("f2",), "Start anew", ForgetChanges(), shown=True),
    Command("watch.mismatch", ("f4",), "Not so", Mismatch(), shown=True, when=_watching),
    Command("watch.hand_over", ("f6",), "Game lights", HandOver(True), shown=True),
    Command("watch.linger.1", ("plus",), "Longer hold-on time", ChangeLinger(1), when=_watching),
    Command("watch.linger.-1", ("minus",), "Shorter hold-on time", ChangeLinger(-1), when=_watching),
    Command("watch.press", ("p",), "Demo: press a target", PressTarget(), shown=True, empty=True, when=_simulated),
    Command("watch.lamp_test", ("t",), "Demo: lamp test", LampTest(), shown=True, empty=True, when=_simulated),
    Command("watch.undo", ("ctrl+z",), "Undo", ev.Undo()),
    Command("watch.leave", ("escape",), "Back", ev.Leave()),
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
    Command("prove.say.RIGHT", ("enter", "y"), "Right", SayVerdict(Verdict.RIGHT), shown=True),
    Command("prove.say.WRONG", ("f2", "n"), "Wrong", SayVerdict(Verdict.WRONG), shown=True),
    Command("prove.say.UNSEEN", ("f3",), "Not seen", SayVerdict(Verdict.UNSEEN), shown=True),
    Command("prove.move.1", ("pagedown", "down", "right"), "Next", NextLamp(1)),
    Command("prove.move.-1", ("pageup", "up", "left"), "Before", NextLamp(-1)),
    Command("prove.next_open", ("ctrl+n", "end"), "Next not proved", NextLamp(open_only=True)),
    Command("prove.board", ("f5",), "Board", ev.GoOpen("board"), shown=True),
    Command("prove.flip", ("comma",), "Picture from above or below", FlipPicture()),
    Command("prove.undo", ("ctrl+z",), "Undo", ev.Undo(), shown=True),
    Command("prove.again", ("ctrl+r",), "Light again", ev.Retry()),
    Command("prove.leave", ("escape",), "Back", ev.Leave()),
)

COMMANDS = (*LAMPS, *LAMP, *PICK, *BOARD, *WATCH, *PROVE)
