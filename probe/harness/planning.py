"""Planning power and keeping the harness sheet, as a pure activity: `step(state, input, now_s) -> (state, effects)`.

Every change is saved before anything else happens; undo is the map before it. Nothing is lit from here.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from probe.document.model import PlayfieldMap
from probe.harness import entries
from probe.harness.base import PowerError
from probe.harness.entries import Key
from probe.harness.from_map import MapPower, compute
from probe.harness.plan import LoadState
from probe.task.steps import MOST_UNDO, BoardView, Effect, News, NotSaved, RingBell, Saved, SaveMap, board_view

LOADS = (LoadState.CEILING, LoadState.TYPICAL, LoadState.FULL_WHITE)


@dataclass(frozen=True)
class Change:
    """Something was typed in an entry."""

    key: Key
    text: str


@dataclass(frozen=True)
class Step:
    """An entry one step up (+1) or down (-1)."""

    key: Key
    by: int


@dataclass(frozen=True)
class AddFeed:
    """A feed at a pixel number, as typed."""

    text: str


@dataclass(frozen=True)
class AddSupply:
    """A supply with a name."""

    text: str


@dataclass(frozen=True)
class AddBatch:
    """A batch with a name."""

    text: str


@dataclass(frozen=True)
class GiveBatch:
    """`10-20 second reel`."""

    text: str


@dataclass(frozen=True)
class SetLevels:
    """`10-20 128`."""

    text: str


@dataclass(frozen=True)
class Remove:
    """Take out what an entry belongs to."""

    key: Key


@dataclass(frozen=True)
class NextChain:
    """The next chain of the map."""


@dataclass(frozen=True)
class NextLoad:
    """The next load state."""


@dataclass(frozen=True)
class Look:
    """Another screen is looked at: what was said of the last input is old."""


@dataclass(frozen=True)
class Undo:
    """Back to the map before the last change."""


@dataclass(frozen=True)
class Redo:
    """Forward again."""


@dataclass(frozen=True)
class Retry:
    """Save again."""


Input = (
    Change | Step | AddFeed | AddSupply | AddBatch | GiveBatch | SetLevels | Remove | NextChain | NextLoad | Look | Undo
    | Redo | Retry
)  # fmt: skip


@dataclass(frozen=True)
class Planning:
    """The whole state. `made` is the entry that the last input made, for the cursor to go to; `refused` counts entries
    that were refused, so that a screen can tell that the last one was."""

    map: PlayfieldMap
    chain: str
    load: LoadState = LoadState.CEILING
    board: BoardView = field(default_factory=BoardView)
    made: Key | None = None
    message: str = ""
    unsaved: str = ""
    refused: int = 0
    past: tuple[PlayfieldMap, ...] = ()
    future: tuple[PlayfieldMap, ...] = ()

    @cached_property
    def reckoned(self) -> MapPower:
        """The plan and its figures."""
        return compute(self.map)

    @property
    def chain_name(self) -> str:
        """The chain's name in the plan, which tells chains of one name apart; empty if it has no pixels."""
        made = self.reckoned.made
        return "" if made is None else made.chain_names.get(self.chain, "")


def start(m: PlayfieldMap, chain: str | None = None) -> Planning:
    """Plan a map, beginning with a chain. Raises ValueError for a map without chains."""
    if not m.chains:
        raise ValueError("this map has no chain yet: set one up first")
    return Planning(m, chain if chain in m.chain_by_id else m.chains[0].id)


def step(state: Planning, given: Input | News, now_s: float) -> tuple[Planning, tuple[Effect, ...]]:
    """The state after an input or news, and what is to be done. A refused entry changes nothing but the message."""
    del now_s
    try:
        return _step(state, given)
    except PowerError as error:
        return replace(state, message=str(error), made=None, refused=state.refused + 1), (RingBell(),)


def _step(state: Planning, given: Input | News) -> tuple[Planning, tuple[Effect, ...]]:
    m = state.map
    match given:
        case Change(key, text):
            return _changed(state, entries.change(m, key, text))
        case Step(key, by):
            return _changed(state, entries.step(m, key, by))
        case AddFeed(text):
            return _changed(state, *entries.new_feed(m, state.chain, text), said="feed added: say where from")
        case AddSupply(text):
            return _changed(state, *entries.new_supply(m, text), said="supply added: enter its rating")
        case AddBatch(text):
            return _changed(state, *entries.new_batch(m, text), said="batch added: enter the colours of its wires")
        case GiveBatch(text):
            return _changed(state, entries.give_batch(m, state.chain, text), said="batch noted")
        case SetLevels(text):
            return _changed(state, entries.set_levels(m, state.chain, text), said="levels noted")
        case Remove(key):
            return _changed(state, entries.remove(m, key), said="taken out: Ctrl+Z brings it back")
        case NextChain():
            names = [chain.id for chain in m.chains]
            chain = names[(names.index(state.chain) + 1) % len(names)]
            return replace(state, chain=chain, made=None, message="" if len(names) > 1 else "there is one chain"), ()
        case NextLoad():
            load = LOADS[(LOADS.index(state.load) + 1) % len(LOADS)]
            return replace(state, load=load, made=None, message=f"shown: {load}"), ()
        case Look():
            return (replace(state, message="", made=None) if state.message or state.made else state), ()
        case Undo():
            return _travel(state, state.past, state.future, back=True)
        case Redo():
            return _travel(state, state.future, state.past, back=False)
        case Retry():
            return replace(state, message=""), (SaveMap(m),)
        case Saved():
            return replace(state, unsaved=""), ()
        case NotSaved(why):
            return replace(state, unsaved=why), (RingBell(),)
        case _:
            board = board_view(state.board, given)
            return (state if board is state.board else replace(state, board=board)), ()


def _changed(
    state: Planning, m: PlayfieldMap, made: Key | None = None, *, said: str = ""
) -> tuple[Planning, tuple[Effect, ...]]:
    if m == state.map:
        return replace(state, message=said, made=made), ()
    past = (*state.past, state.map)[-MOST_UNDO:]
    return replace(state, map=m, past=past, future=(), message=said, made=made), (SaveMap(m),)


def _travel(
    state: Planning, source: tuple[PlayfieldMap, ...], other: tuple[PlayfieldMap, ...], *, back: bool
) -> tuple[Planning, tuple[Effect, ...]]:
    if not source:
        return replace(state, message="nothing to undo" if back else "nothing to redo", made=None), (RingBell(),)
    m, rest, kept = source[-1], source[:-1], (*other, state.map)
    past, future = (rest, kept) if back else (kept, rest)
    done = replace(state, map=m, past=past, future=future, made=None, message="undone" if back else "done again")
    return done, (SaveMap(m),)
