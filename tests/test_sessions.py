"""Sessions of a walk: pending with every answer, one revision at the end, whatever undo and crashes do."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from probe.document.diff import NOT_COMPARED, diff
from probe.document.edits import Insert, renumber
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from probe.document.revisions import at_revision, base_of, last_undoable, undo, verified_count
from probe.mapping.keys import Answer, Ask, Entry, GoTo, Redo, Say, Take, TogglePaper, Typed, Undo
from probe.mapping.walk import step
from probe.mapping.walk_state import Walk, start, with_other_map
from probe.task.sessions import CloseSession, Recording, UndoRevision
from probe.task.steps import SaveMap
from tests.support.examples import examples

NOW = "2026-03-01T19:30:00Z"


def blank() -> PlayfieldMap:
    m = new_map("Kelp Forest")
    for output, name in enumerate(("a", "b")):
        m = set_count(add_chain(m, Chain(id=name, name=name.upper(), output=output)), name, 5)
    return m


def same(one: PlayfieldMap, other: PlayfieldMap) -> bool:
    return diff(one, other) == ()


class Sessions(RuleBasedStateMachine):
    """A walk on paper with closes, undos and restarts; beside it, the map at every revision."""

    @initialize()
    def begin(self) -> None:
        m = blank()
        self.closed = [m]
        self.disk = m
        self.open(m)

    def open(self, m: PlayfieldMap) -> None:
        walk, _ = step(start(m), TogglePaper(), 0.0)
        self.walk: Walk = walk
        self.step = Recording(step, m, with_other_map)

    def give(self, given: object) -> None:
        self.walk, effects = self.step(self.walk, given, 0.0)
        for effect in effects:
            if isinstance(effect, SaveMap):
                self.disk = effect.map

    @rule(label=st.sampled_from(["Reef lane 1", "Reef lane 2", "GI", "[/x]"]))
    def name(self, label: str) -> None:
        self.give(Typed(label))
        self.give(Take())

    @rule(answer=st.sampled_from([Answer.NOTHING_LIT, Answer.SPARE, Answer.HIDDEN]))
    def say(self, answer: Answer) -> None:
        self.give(Say(answer))

    @rule(number=st.integers(0, 4), chain=st.sampled_from("ab"))
    def go(self, number: int, chain: str) -> None:
        self.give(GoTo(number, chain))

    @rule(text=st.sampled_from(["", "a note"]))
    def note(self, text: str) -> None:
        self.give(Ask(Entry.NOTE))
        self.give(Typed(text))
        self.give(Take())

    @rule()
    def undo(self) -> None:
        if len(self.walk.map.revisions) == len(self.closed) - 1 and self.walk.past:
            past = self.walk.past[-1].map
            if past.revisions is self.walk.map.revisions:
                self.give(Undo())

    @rule()
    def redo(self) -> None:
        if self.walk.future and self.walk.future[-1].map.revisions is self.walk.map.revisions:
            self.give(Redo())

    @rule()
    def close(self) -> None:
        before = len(self.walk.map.revisions)
        self.give(CloseSession(NOW))
        if len(self.walk.map.revisions) > before:
            self.closed.append(self.walk.map)
        assert self.walk.map.pending == ()

    @rule()
    def killed_and_opened_again(self) -> None:
        self.open(self.disk)

    @precondition(lambda self: not self.walk.map.pending and last_undoable(self.walk.map) is not None)
    @rule()
    def undo_revision(self) -> None:
        self.give(UndoRevision(NOW))
        self.closed.append(self.walk.map)

    @invariant()
    def what_is_pending_leads_back_to_the_last_revision(self) -> None:
        assert same(base_of(self.walk.map), self.closed[-1])
        assert same(base_of(self.disk), self.closed[-1])
        assert same(self.disk, self.walk.map)

    @invariant()
    def every_revision_can_be_seen_again(self) -> None:
        for number, wanted in enumerate(self.closed):
            assert same(at_revision(self.walk.map, number), wanted)


TestSessions = Sessions.TestCase
TestSessions.settings = settings(max_examples=examples(40), stateful_step_count=25)


def test_a_change_made_elsewhere_is_in_the_session_too() -> None:
    m = blank()
    step_ = Recording(step, m)
    walk, _ = step(start(m), TogglePaper(), 0.0)
    elsewhere = walk.map.model_copy(update={"machine": walk.map.machine.model_copy(update={"note": "joined"})})
    walk, effects = step_(with_other_map(walk, elsewhere), CloseSession(NOW, "planned"), 0.0)
    assert isinstance(effects[0], SaveMap)
    assert [r.reason for r in walk.map.revisions] == ["planned"]
    assert same(undo(walk.map, time=NOW), m)


def test_the_session_that_was_never_closed_is_taken_back_as_a_whole() -> None:
    m = blank()
    recording = Recording(step, m)
    walk, _ = step(start(m), TogglePaper(), 0.0)
    for label in ("Reef lane 1", "Reef lane 2"):
        walk, _ = recording(walk, Typed(label), 0.0)
        walk, _ = recording(walk, Take(), 0.0)
    later = Recording(step, walk.map, with_other_map)
    after, _ = later(start(walk.map), UndoRevision(NOW), 0.0)
    assert same(after.map, m)
    assert len(after.map.revisions) == 2
    assert after.map.revisions[0].reason == "Walked: A"


def test_answers_on_paper_verify_nothing() -> None:
    m = blank()
    recording = Recording(step, m)
    walk, _ = step(start(m), TogglePaper(), 0.0)
    walk, _ = recording(walk, Typed("Reef lane 1"), 0.0)
    walk, _ = recording(walk, Take(), 0.0)
    assert verified_count(walk.map, walk.map.chain("a")) == 0


def test_logs_stay_whatever_is_undone() -> None:
    assert {"proofs", "observations"} <= NOT_COMPARED
    m = renumber(blank(), [Insert(chain="a", after=0)], time=NOW, reason="one more")
    assert undo(m, time=NOW).proofs is m.proofs
