"""What takes long: shown after a moment with how far it is, stopped by Esc; and every state in which a person waits says what
is awaited, what to do meanwhile, and how to get out."""

from __future__ import annotations

import asyncio
import re
import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

import probe
from device_protocol.board import BoardConfig, SimulatedBoard
from device_protocol.orders import ReadTableState
from probe.document.document import Document
from probe.document.model.light import Rating
from probe.lighting.even_keys import Finish, Rate
from probe.runtime.runtime import SHOWN_AFTER_S, Runtime, Work
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Dark, lights_something
from probe.task.task import BoardView, Next, Opened, Task, TaskState
from probe.ui.footer import hints_for
from probe.ui.waiting import HOW_FAR_AFTER_S, NO_BOARD, waiting_words, work_words
from tests.runtime.contract_tasks import TASKS, two_chains
from tests.support.examples import first_now
from tests.support.played import Played


@dataclass(frozen=True)
class Begin:
    """Do this."""

    effect: fx.Effect


@dataclass(frozen=True, kw_only=True)
class Seen(TaskState):
    """What came of it."""

    facts: tuple[object, ...] = ()


class Waits(Task[Seen]):
    """Asks and computes, and notes what it hears."""

    name = "waits"
    own_revision = False

    def step(self, s: Seen, event: object, now_s: float) -> Next[Seen] | None:
        match event:
            case Begin(effect):
                return s, (effect,)
            case ev.Answered() | ev.NotAnswered() | ev.JobDone() | ev.JobStopped():
                return replace(s, facts=(*s.facts, event)), ()
            case _:
                return None

    def light(self, s: Seen) -> Dark:
        return Dark()


@dataclass
class SlowBoard:
    """Answers an order once it is let."""

    identity: object = field(default_factory=object)
    asked: list[object] = field(default_factory=list)
    let: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(0))

    async def do(self, order: Any) -> Any:
        self.asked.append(order)
        await self.let.acquire()
        return order


class Clock:
    """Seconds that pass when they are told to."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@dataclass
class Bench:
    runtime: Runtime
    board: SlowBoard
    clock: Clock
    left: list[object]

    @property
    def facts(self) -> tuple[object, ...]:
        facts: tuple[object, ...] = self.runtime.layers[0].state.facts
        return facts

    def work(self) -> Work | None:
        return self.runtime.work(self.runtime.layers[0])

    async def until(self, true: Callable[[], bool]) -> None:
        for _ in range(2_000):
            if true():
                return
            await asyncio.sleep(0.001)
        raise AssertionError(self.facts)


async def waiting() -> Bench:
    clock, board, left = Clock(), SlowBoard(), []  # type: ignore[var-annotated]
    runtime = Runtime(
        Document.in_memory(two_chains()),
        {"waits": lambda opened: (Waits(), Seen(map=two_chains()))},
        now_s=clock,
        on_bottom=left.append,
    )
    runtime.start()
    runtime.open("waits")
    runtime.attach(board)  # type: ignore[arg-type]
    return Bench(runtime, board, clock, left)


FIVE = fx.Ask((ReadTableState(),) * 5, "five", "reading the table", before=8, of=40)


async def test_a_question_is_shown_after_a_moment_with_how_far_it_is() -> None:
    one = await waiting()
    one.board.let.release()  # dark at once
    one.runtime.dispatch(Begin(FIVE))
    one.board.let.release()
    one.board.let.release()
    await one.until(lambda: sum(isinstance(order, ReadTableState) for order in one.board.asked) == 3)
    assert one.work() is None, "what is quick is not shown"
    one.clock.now_s += SHOWN_AFTER_S
    work = one.work()
    assert work is not None
    assert (work.words, work.done, work.total, work.can_stop) == ("reading the table", 10, 40, True)
    assert "10 of 40" in work_words(work)
    assert " s …" not in work_words(work)
    one.clock.now_s += HOW_FAR_AFTER_S
    work = one.work()
    assert work is not None
    assert work_words(work) == "Reading the table, 10 of 40, 3 s …   Esc stops it"
    for _ in range(9):
        one.board.let.release()
    await one.until(lambda: bool(one.facts))
    assert isinstance(one.facts[0], ev.Answered)
    assert one.work() is None
    await one.runtime.end()


@pytest.mark.parametrize("queued", [False, True], ids=["being asked", "not asked yet"])
async def test_esc_stops_a_question_and_it_is_answered_once(queued: bool) -> None:
    one = await waiting()
    if not queued:
        one.board.let.release()
    one.runtime.dispatch(Begin(FIVE))
    await one.until(lambda: len(one.board.asked) == (1 if queued else 2))
    one.clock.now_s += 1
    one.runtime.dispatch(ev.Leave())
    assert one.left == [], "Esc stops it, and leaves nothing yet"
    assert [type(fact) for fact in one.facts] == [ev.NotAnswered]
    assert "stopped" in one.facts[0].why  # type: ignore[attr-defined]
    assert one.work() is None
    for _ in range(9):
        one.board.let.release()
    await asyncio.sleep(0.05)
    assert len(one.facts) == 1, "nothing more is heard of it"
    assert sum(isinstance(order, ReadTableState) for order in one.board.asked) == (0 if queued else 1)
    one.runtime.dispatch(ev.Leave())
    assert one.left == [None], "the second one leaves"
    await one.runtime.end()


async def test_a_question_beside_the_work_is_neither_shown_nor_stopped() -> None:
    one = await waiting()
    one.runtime.dispatch(Begin(replace(FIVE, words="")))
    await one.until(lambda: bool(one.board.asked))
    one.clock.now_s += 10
    assert one.work() is None
    one.runtime.dispatch(ev.Leave())
    assert one.left == [None]
    for _ in range(9):
        one.board.let.release()
    await one.runtime.end()


async def test_a_job_says_how_far_it_is_and_stops_at_its_next_step() -> None:
    one = await waiting()
    for _ in range(9):
        one.board.let.release()
    go, ended, progress = threading.Event(), threading.Event(), fx.Progress(100)

    def run(progress: fx.Progress) -> object:
        try:
            progress.step(30)
            go.wait(10)
            progress.step()
        finally:
            ended.set()
        return "done"

    one.runtime.dispatch(Begin(fx.Job("long", run, "planning", progress)))
    await one.until(lambda: progress.done == 30)
    one.clock.now_s += 4
    work = one.work()
    assert work is not None
    assert work_words(work) == "Planning, 30 of 100, 4 s …   Esc stops it"
    one.runtime.dispatch(ev.Leave())
    assert one.facts == (ev.JobStopped("long"),)
    go.set()
    await one.until(ended.is_set)
    await asyncio.sleep(0.02)
    assert one.facts == (ev.JobStopped("long"),), "what it would have come to is heard by nobody"
    assert progress.done == 30
    await one.runtime.end()


async def test_a_job_that_has_not_said_how_far_it_is_is_stopped_by_esc_as_well() -> None:
    one = await waiting()
    for _ in range(9):
        one.board.let.release()
    go = threading.Event()
    one.runtime.dispatch(Begin(fx.Job("long", lambda _: go.wait(10), "computing the light")))
    one.clock.now_s += 1
    work = one.work()
    assert work is not None
    assert work_words(work) == "Computing the light …   Esc stops it"
    one.runtime.dispatch(ev.Leave())
    assert one.facts == (ev.JobStopped("long"),)
    assert one.left == []
    one.runtime.dispatch(ev.Leave())
    assert one.left == [None]
    go.set()
    await one.runtime.end()


# -- every task -----------------------------------------------------------------------------------------------------------


def opened(name: str) -> Played[Any]:
    one = TASKS[name]
    map_ = one.map()
    task, state = one.makers()[name](Opened(map=map_, facts=one.facts(map_), now="2025-04-05T20:15:00Z"))
    return Played(task, state)


@pytest.mark.parametrize("name", TASKS)
def test_without_a_board_every_task_that_lights_says_what_to_do_and_how_to_get_out(name: str) -> None:
    play = opened(name)
    words = waiting_words(play.task, play.state, None, paper=False)
    wants = lights_something(play.task.light(play.state))
    way_out = hints_for(play.task.commands, play.state, {})[-1].words.lower()
    assert words == (f"{NO_BOARD}{way_out}" if wants else ""), "Esc is called as in the footer"
    for part in ("Waiting for the board", "plug it in", "on paper") if wants else ():
        assert part in words
    assert len(f" {words}") <= 80, "it is whole on the narrowest screen"
    assert waiting_words(play.task, play.state, None, paper=True) == ""
    assert any("escape" in command.keys for command in play.task.commands), "Esc does something here"


@pytest.mark.parametrize("name", TASKS)
def test_what_a_task_waits_for_has_words_and_esc_is_in_them(name: str) -> None:
    play = opened(name)
    asked: list[fx.Ask | fx.Job] = [each for each in play.effects if isinstance(each, (fx.Ask, fx.Job))]
    for effect in asked:
        if isinstance(effect, fx.Job) or len(effect.orders) > 3:
            assert effect.words, f"{effect.tag} may take long: it needs words"
    work = Work("asking", 5.0, 1, 3, can_stop=True)
    assert "Esc" in waiting_words(play.task, replace(play.state, board=BoardView()), work, paper=False)


def jobs_of(name: str) -> tuple[Played[Any], list[fx.Job]]:
    """A task that computes, and the jobs that it asked for on the way there."""
    play = opened(name)
    play.effects.clear()
    if name == "plan":
        play(ev.NextChain())
    elif name == "recheck":
        play.plug(SimulatedBoard(BoardConfig(outputs=2, pixels=120)).identity())
        play.light_up()
        play(ev.Take("2026-03-01T19:30:00Z"))
    else:
        for _ in range(3):
            play(Rate(Rating.FAIR, "2026-03-01T19:30:00Z"))
        play(Finish())
    return play, [each for each in play.effects if isinstance(each, fx.Job)]


COMPUTING = {"plan": "planning/task.py", "recheck": "recheck/task.py", "evenness": "lighting/even_walk.py"}


def test_every_room_that_makes_a_job_is_held_to_these() -> None:
    rooms = Path(probe.__file__).parent
    made = {
        str(path.relative_to(rooms))
        for path in rooms.rglob("*.py")
        if re.search(r"(?<!case )fx\.Job\(", path.read_text())
    }
    assert made == set(COMPUTING.values())


@pytest.mark.slow
@pytest.mark.parametrize("name", COMPUTING)
def test_every_job_steps_a_progress_and_stops_where_it_is_told_to(name: str) -> None:
    _, jobs = jobs_of(name)
    assert jobs
    for job in jobs:
        stopped = fx.Progress()
        stopped.stopped = True
        with pytest.raises(fx.StoppedError):
            job.run(stopped)
        far = fx.Progress(job.progress.total)
        job.run(far)
        assert 1 <= far.done <= far.total, "it counts"
        assert far.total > 1


@pytest.mark.parametrize("name", first_now(COMPUTING))
def test_after_a_job_was_stopped_there_is_a_way_on_and_a_way_out(name: str) -> None:
    play, jobs = jobs_of(name)
    before = len(play.closed)
    step = play.task.step(play.state, ev.JobStopped(jobs[-1].tag), 1.0)
    assert step is not None, "the task knows what to do then"
    state, effects = step
    if any(isinstance(each, fx.Close) for each in effects):
        return  # left, with what was answered kept
    assert state.message
    assert not getattr(state, "working", False)
    for _ in range(4):
        play(ev.Leave())
    assert len(play.closed) > before
