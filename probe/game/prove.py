"""The final check in the game: each lamp and group lit by its number, looked at, and the answer kept with its date.

Where the board holds the map's table the board lights it by that table (so that the table itself is proved); otherwise
the pixels are lit by number from here, and the proof says so. A frozen state and a pure step.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from device_protocol.orders import (
    LightGroup,
    LightLamp,
    Order,
    ReadTableState,
    TableState,
)
from device_protocol.values import DARK, Colour
from probe.document.board_table import BoardTable, TableTooLargeError, board_table
from probe.document.model import Place, PlayfieldMap
from probe.document.model.game import Verdict
from probe.document.operations import folded
from probe.document.proving import Proved, Standing, Tally, add_proof, standings, tally
from probe.task.steps import (
    MOST_UNDO,
    Answered,
    BoardDark,
    BoardGone,
    BoardHere,
    BoardView,
    ButtonPressed,
    Effect,
    GameHasPixels,
    GiveOrders,
    NotAnswered,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    SetUpChain,
    ShowDark,
    Shown,
    ShowPicture,
    board_view,
)


@dataclass(frozen=True)
class Move:
    """Another row; `open_only` passes over what is proved."""

    by: int = 1
    open_only: bool = False


@dataclass(frozen=True)
class GoTo:
    """A certain row."""

    at: int


@dataclass(frozen=True)
class Say:
    """What was seen. `time` is now, RFC 3339 UTC."""

    verdict: Verdict
    time: str
    note: str = ""


@dataclass(frozen=True)
class Undo:
    """Take the last answer back."""


@dataclass(frozen=True)
class Again:
    """Light it again."""


@dataclass(frozen=True)
class Prove:
    """The state. `by_table`: the board lights by its own table; None while that is not known. `lit` is what is lit."""

    map: PlayfieldMap
    at: int = 0
    board: BoardView = field(default_factory=BoardView)
    ours: BoardTable | None = None
    by_table: bool | None = None
    table_words: str = ""
    lit: int | None = None
    awaited: tuple[Effect, ...] = ()
    message: str = ""
    unsaved: str = ""
    past: tuple[tuple[PlayfieldMap, int], ...] = ()

    @cached_property
    def rows(self) -> tuple[Proved, ...]:
        """Lamps and groups with pixels."""
        return tuple(row for row in standings(self.map) if row.pixels)

    @property
    def row(self) -> Proved | None:
        """What is asked about."""
        return self.rows[self.at] if self.rows else None

    @property
    def is_lit(self) -> bool:
        """Whether the board has said that it is lit."""
        return self.lit == self.at and self.row is not None

    @cached_property
    def tally(self) -> Tally:
        """How much is proved."""
        return tally(self.map)

    @property
    def places(self) -> tuple[Place, ...]:
        """Places that have to light now."""
        row = self.row
        if row is None:
            return ()
        if row.lamp is not None:
            return tuple(place for place in self.map.places if row.lamp in place.lamps)
        return tuple(p for p in self.map.places if folded(p.group) == folded(row.group) and not p.lamps)


def start(m: PlayfieldMap) -> Prove:
    """At the first lamp that is not proved."""
    try:
        ours = board_table(m)
    except TableTooLargeError:
        ours = None
    prove = Prove(m, ours=ours)
    first = next((at for at, row in enumerate(prove.rows) if row.state is not Standing.PROVED), 0)
    return replace(prove, at=first)


def step(prove: Prove, given: object, now_s: float) -> tuple[Prove, tuple[Effect, ...]]:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case Move(by, open_only):
            return _move(prove, by, open_only=open_only)
        case GoTo(at):
            return _go(prove, at)
        case Say(verdict, time, note):
            return _say(prove, verdict, time, note)
        case Undo():
            return _undo(prove)
        case Again():
            return _go(prove, prove.at)
        case _:
            return _news(prove, given)


def _news(prove: Prove, news: object) -> tuple[Prove, tuple[Effect, ...]]:
    match news:
        case BoardHere(identity):
            prove = replace(prove, board=board_view(prove.board, news), lit=None, by_table=None)
            chains = [chain for chain in prove.map.chains if chain.output < identity.outputs and chain.length]
            setups = tuple(SetUpChain(chain) for chain in chains)
            if identity.has("play") and prove.ours is not None:
                return prove, (*setups, GiveOrders((ReadTableState(),), "prove-table"))
            words = "this board has no table: pixels are lit by number"
            prove = replace(prove, by_table=False, table_words=words)
            prove, effects = _lit_now(prove)
            return prove, (*setups, *effects)
        case Answered("prove-table", (TableState() as held,)):
            return _table_known(prove, held)
        case Answered(tag, _) if tag == _tag(prove):
            return replace(prove, lit=prove.at), ()
        case NotAnswered(tag, why) if tag in (_tag(prove), "prove-table"):
            return replace(prove, lit=None, message=why), (RingBell(),)
        case Shown(what) if what in prove.awaited:
            left = tuple(effect for effect in prove.awaited if effect != what)
            return replace(prove, awaited=left, lit=prove.at if not left else None), ()
        case Shown():
            return prove, ()
        case NotShown(_, why):
            return replace(prove, lit=None, message=why), (RingBell(),)
        case BoardGone():
            return replace(prove, board=board_view(prove.board, news), lit=None, by_table=None), (RingBell(),)
        case BoardDark() | GameHasPixels():
            return _lit_now(prove)
        case Saved():
            return replace(prove, unsaved=""), ()
        case NotSaved(why):
            return replace(prove, unsaved=why), (RingBell(),)
        case ButtonPressed(times):
            return _move(prove, times)
        case _:
            return replace(prove, board=board_view(prove.board, news)), ()  # type: ignore[arg-type]


def _table_known(prove: Prove, held: TableState) -> tuple[Prove, tuple[Effect, ...]]:
    ours = prove.ours
    assert ours is not None
    same = (held.length, held.crc) == (len(ours.image), ours.crc)
    if same:
        words = f"lit by the board's own table, revision {held.revision}"
    elif held.length:
        words = (
            f"the board's table (revision {held.revision}) is not the map's: write it first. Pixels are lit by number"
        )
    else:
        words = "the board holds no table yet: write it first. Pixels are lit by number"
    return _lit_now(replace(prove, by_table=same, table_words=words))


def _tag(prove: Prove) -> str:
    """Names the order that lights this row, so that news of an earlier one is not taken for it."""
    return f"prove-light {prove.at}"


def _lit_now(prove: Prove) -> tuple[Prove, tuple[Effect, ...]]:
    effects = _light(prove)
    awaited = tuple(effect for effect in effects if isinstance(effect, ShowPicture))
    return replace(prove, lit=None, awaited=awaited), effects


def _light(prove: Prove) -> tuple[Effect, ...]:
    row, identity = prove.row, prove.board.identity
    if row is None or identity is None or prove.by_table is None:
        return ()
    if prove.by_table and prove.ours is not None:
        order: Order
        if row.lamp is not None:
            order = LightLamp(row.lamp)
        else:
            order = LightGroup(next(n for n, name in enumerate(prove.ours.groups) if folded(name) == folded(row.group)))
        return (GiveOrders((order,), _tag(prove)),)
    pictures: list[Effect] = []
    for output in sorted({pixel.output for pixel in row.pixels if pixel.output < identity.outputs}):
        chain = next(chain for chain in prove.map.chains if chain.output == output)
        picture = [DARK] * chain.length
        for pixel in row.pixels:
            if pixel.output == output:
                picture[pixel.number] = _seen(pixel.duty)
        pictures.append(ShowPicture(output, tuple(picture)))
    return (ShowDark(), *pictures)


def _seen(duty: Colour) -> Colour:
    """A place set to level 0 is shown dimly all the same: dark proves nothing."""
    return duty if not duty.is_dark else Colour(8, 8, 8)


def _go(prove: Prove, at: int) -> tuple[Prove, tuple[Effect, ...]]:
    if not 0 <= at < len(prove.rows):
        end = "this is the first" if at < 0 else "this is the last"
        return replace(prove, message=end if prove.rows else "no lamp has a pixel yet: walk the chain"), (RingBell(),)
    return _lit_now(replace(prove, at=at, message=""))


def _move(prove: Prove, by: int, *, open_only: bool = False) -> tuple[Prove, tuple[Effect, ...]]:
    if not open_only:
        return _go(prove, prove.at + by)
    if not prove.rows:
        return _go(prove, 0)
    order = [*range(prove.at + 1, len(prove.rows)), *range(prove.at + 1)]
    at = next((at for at in order if prove.rows[at].state is not Standing.PROVED), None)
    if at is None:
        return replace(prove, message="all proved since the last change"), (RingBell(),)
    return _go(prove, at)


def _say(prove: Prove, verdict: Verdict, time: str, note: str) -> tuple[Prove, tuple[Effect, ...]]:
    row = prove.row
    if row is None:
        return replace(prove, message="no lamp has a pixel yet: walk the chain"), (RingBell(),)
    if not prove.is_lit:
        words = "it is not lit yet: wait for it, then answer" if prove.board.here else "no board, so nothing is lit"
        return replace(prove, message=words), (RingBell(),)
    m = add_proof(prove.map, row, verdict, time=time, by_table=bool(prove.by_table), note=note)
    # a new state: `rows` and `tally` are reckoned anew
    said = replace(prove, map=m, past=(*prove.past, (prove.map, prove.at))[-MOST_UNDO:], message="")
    if all(other.state is Standing.PROVED for other in said.rows):
        return replace(said, message="all proved since the last change"), (SaveMap(m), RingBell())
    if verdict is Verdict.RIGHT:
        moved, effects = _move(said, 1, open_only=True)
    else:
        moved, effects = _go(said, min(said.at + 1, len(said.rows) - 1))
    words = f"{row.title}: {verdict.value}"
    return replace(moved, message=words), (SaveMap(m), *effects)


def _undo(prove: Prove) -> tuple[Prove, tuple[Effect, ...]]:
    if not prove.past:
        return replace(prove, message="nothing to undo"), (RingBell(),)
    m, at = prove.past[-1]
    back, effects = _go(replace(prove, map=m, past=prove.past[:-1]), at)
    return replace(back, message="undone"), (SaveMap(m), *effects)
