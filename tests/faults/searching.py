"""A fault search played by hand: a map, a board that says what it can, and the answers given."""

from __future__ import annotations

from dataclasses import replace

from device_protocol.orders import ChainCount, Identity, RestartCause
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count
from probe.faults.engine import UNSURE
from probe.faults.search import FaultSearchTask, start, start_practice
from probe.faults.state import FaultSearch, SearchMode, Solution
from probe.faults.tables import load
from probe.practice.round import CHAIN, PracticeRound
from probe.task import events as ev
from probe.task.effects import Ask, Commit, Effects, TakeBack
from probe.task.light import Light
from probe.task.task import BoardView
from tests.support.boards import identity

K = load()
NOW = "2025-03-16T20:00:00Z"
ALL = frozenset({"setup", "range", "silence", "paint", "pattern", "count"})
PLAIN = frozenset({"setup", "range", "silence", "paint"})


def board(features: frozenset[str] = ALL, cause: RestartCause = RestartCause.EXTERNAL) -> Identity:
    return identity(pixels=200, uptime_ms=10, cause=cause, features=features)


def a_map(count: int = 40) -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0))
    map_ = set_count(map_, "a", count)
    for number in range(count):
        map_, place = add_place(map_, f"Reef lane {number}")
        map_ = assign_place(map_, "a", number, place.id)
    return map_


class Play:
    """A search, what it asked for, and the little that a runtime does for it."""

    def __init__(self, search: FaultSearch) -> None:
        self.task = FaultSearchTask()
        self.search = search
        self.effects: Effects = ()
        self.asked_of_board: list[Ask] = []
        self.now_s = 100.0
        self.done: list[tuple[PlayfieldMap, object]] = []
        self._after(self.task.begin(search, self.now_s))

    def give(self, event: object, after_s: float = 1.0) -> Play:
        self.now_s += after_s
        self.effects = ()
        before = self.search
        found = self.task.step(before, event, self.now_s)
        if found is not None:
            self._after(found)
        elif isinstance(event, ev.Undo):
            self._taken_back()
        return self

    def _after(self, found: tuple[FaultSearch, Effects]) -> None:
        before = self.search
        self.search, self.effects = found[0], self.effects + found[1]
        for effect in found[1]:
            match effect:
                case Commit(map_, _, where):
                    self.done.append((before.map, self.task.where(before) if where is None else where))
                    self.search = replace(self.search, map=map_)
                case TakeBack():
                    self._taken_back()
                case Ask():
                    self.asked_of_board.append(effect)

    def _taken_back(self) -> None:
        if not self.done:
            self.search = replace(self.search, message="nothing to undo")
            return
        map_, where = self.done.pop()
        self.search = replace(self.search, map=map_)
        found = self.task.step(self.search, ev.MapChanged("undone", where), self.now_s)
        assert found is not None
        self._after(found)

    # -- the board

    def plug(self, there: Identity | None = None) -> Play:
        """A board answers; nothing is lit."""
        there = there or board()
        return self._board(BoardView(replace(there), f"{there.board} {there.build}"))

    def unplug(self, why: str = "cable out") -> Play:
        return self._board(BoardView(None, why, why))

    def confirm(self) -> Play:
        """The board says that it shows what is wanted."""
        return self._board(replace(self.search.board, lit=self.shown()))

    def dark_by_itself(self) -> Play:
        self._board(replace(self.search.board, lit=None))
        return self.give(ev.WentDarkByItself())

    def count(self, least: int, most: int) -> Play:
        """The board answers the last question about a return wire."""
        return self.give(ev.Answered(self.asked_of_board[-1].tag, (ChainCount(least, most, 0),)))

    def _board(self, view: BoardView) -> Play:
        self.search = replace(self.search, board=view)
        return self.give(ev.BoardChanged())

    def shown(self) -> Light:
        """What the board should show."""
        return self.task.light(self.search)

    # -- answers

    def choose(self, key: str) -> Play:
        keys = [item.key for item in self.search.items]
        self.give(ev.Choose(keys.index(key) - self.search.place))
        return self.give(ev.Take(NOW))

    def type_in(self, text: str) -> Play:
        return self.give(ev.Typed(text)).give(ev.Take(NOW))

    def mode(self) -> SearchMode:
        return self.search.mode

    def asked(self) -> str:
        assert self.search.question is not None
        return self.search.question.id

    def put(self, question: str) -> Play:
        """Ask this question now, with its light."""
        self.search = replace(self.search, question=K.observation(question), known=None)
        return self.give(ev.BoardChanged())

    def committed(self) -> PlayfieldMap:
        """The map of the last step's commit."""
        return next(effect.map for effect in self.effects if isinstance(effect, Commit))


def begun(features: frozenset[str] = ALL, **more: bool) -> Play:
    play = Play(start(a_map(), "a", now=NOW, **more))
    play.plug(board(features))
    play.choose("start")
    return play


def answer_all(play: Play, **answers: str) -> Play:
    """Answer what is asked: readings typed, the rest by id; not sure to all else."""
    while play.mode() in (SearchMode.QUESTION, SearchMode.LAST_GOOD):
        if play.mode() is SearchMode.LAST_GOOD:
            play.type_in(answers["k"])
            continue
        wanted = answers.get(play.asked().replace("-", "_"), UNSURE)
        if play.search.reads_meter and wanted != UNSURE:
            play.type_in(wanted)
        else:
            play.choose(wanted)
    return play


def repaired(play: Play) -> Play:
    play.choose("to-k-dark")
    play.type_in("14")
    answer_all(play, arrow_next="no", after_work="yes", when="always")
    assert play.mode() is SearchMode.FINDING
    return play.choose("repair:next-backwards")


def a_round(seed: int) -> PracticeRound:
    return PracticeRound(K.weights, K.observations, seed=seed)


def practised(round_: PracticeRound) -> Play:
    """A search for what a practice round hides."""
    solution = Solution(round_.planted.causes, round_.planted.places)
    return Play(start_practice(round_.map, CHAIN, solution, lambda asked: round_.answer(asked).answer))
