"""A fault search played by hand: a map, a board that says what it can, and the answers given."""

from __future__ import annotations

from device_protocol.orders import RestartCause
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count
from probe.faults.engine import UNSURE
from probe.faults.search import Choose, Key, Take, Typed, start, start_practice, step
from probe.faults.state import Search, SearchMode, Solution
from probe.faults.tables import load
from probe.practice.round import CHAIN, PracticeRound
from probe.task.steps import (
    BoardHere,
    Effect,
    News,
    RunPattern,
    ShowDark,
    ShowPicture,
    ShowPixel,
    ShowRange,
)
from tests.support.boards import identity

K = load()
NOW = "2025-03-16T20:00:00Z"
ALL = frozenset({"setup", "range", "silence", "paint", "pattern", "count"})
PLAIN = frozenset({"setup", "range", "silence", "paint"})


def board(features: frozenset[str] = ALL, cause: RestartCause = RestartCause.EXTERNAL) -> BoardHere:
    return BoardHere(identity(pixels=200, uptime_ms=10, cause=cause, features=features))


def a_map(count: int = 40) -> PlayfieldMap:
    m = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0))
    m = set_count(m, "a", count)
    for number in range(count):
        m, place = add_place(m, f"Reef lane {number}")
        m = assign_place(m, "a", number, place.id)
    return m


class Play:
    """A search and what it asked for."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.effects: tuple[Effect, ...] = ()
        self.now_s = 100.0

    def give(self, given: Key | News, after_s: float = 1.0) -> Play:
        self.now_s += after_s
        self.search, self.effects = step(self.search, given, self.now_s)
        return self

    def choose(self, key: str) -> Play:
        keys = [item.key for item in self.search.items]
        self.give(Choose(keys.index(key) - self.search.chosen))
        return self.give(Take(NOW))

    def mode(self) -> SearchMode:
        return self.search.mode

    def asked(self) -> str:
        assert self.search.question is not None
        return self.search.question.id

    def shown(self) -> list[Effect]:
        return [e for e in self.effects if isinstance(e, (ShowPixel, ShowRange, ShowPicture, ShowDark, RunPattern))]


def begun(features: frozenset[str] = ALL, **more: bool) -> Play:
    play = Play(start(a_map(), "a", now=NOW, **more))
    play.give(board(features))
    play.choose("start")
    return play


def told(play: Play, **answers: str) -> Play:
    """Answer what is asked: readings typed, the rest by id; not sure to all else."""
    while play.mode() in (SearchMode.QUESTION, SearchMode.LAST_GOOD):
        if play.mode() is SearchMode.LAST_GOOD:
            play.give(Typed(answers["k"])).give(Take(NOW))
            continue
        wanted = answers.get(play.asked().replace("-", "_"), UNSURE)
        if play.search.reads_meter and wanted != UNSURE:
            play.give(Typed(wanted)).give(Take(NOW))
        else:
            play.choose(wanted)
    return play


def repaired(play: Play) -> Play:
    play.choose("to-k-dark")
    play.give(Typed("14")).give(Take(NOW))
    told(play, arrow_next="no", after_work="yes", when="always")
    assert play.mode() is SearchMode.FINDING
    return play.choose("repair:next-backwards")


def a_round(seed: int) -> PracticeRound:
    return PracticeRound(K.weights, K.observations, seed=seed)


def practised(round_: PracticeRound) -> Play:
    """A search for what a practice round hides."""
    solution = Solution(round_.planted.causes, round_.planted.places)
    return Play(start_practice(round_.map, CHAIN, solution, lambda asked: round_.answer(asked).answer))
