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
from probe.mapping.walk import WalkTask
from probe.mapping.walk_keys import GoTo, Say, UseLine
from probe.mapping.walk_state import OneKey, WalkEntry, start
from probe.task.events import Redo, Take, Typed, Undo
from tests.support.examples import examples
from tests.support.played import Played

NOW = "2026-03-01T19:30:00Z"


def blank() -> PlayfieldMap:
    map_ = new_map("Kelp Forest")
    for output, name in enumerate(("a", "b")):
        map_ = set_count(add_chain(map_, Chain(id=name, name=name.upper(), output=output)), name, 5)
    return map_


def same(one: PlayfieldMap, other: PlayfieldMap) -> bool:
    return diff(one, other) == ()


class Sessions(RuleBasedStateMachine):
    """A walk on paper with closes, undos and restarts; beside it, the map at every revision."""

    @initialize()
    def begin(self) -> None:
        map_ = blank()
        self.closed = [map_]
        self.open(map_)

    def open(self, map_: PlayfieldMap) -> None:
        self.walk = Played(WalkTask(), start(map_, paper=True))
        self.walk.document._now = lambda: NOW

    @property
    def map(self) -> PlayfieldMap:
        return self.walk.map

    def give(self, *events: object) -> None:
        before = self.map
        self.walk(*events)
        grown = len(self.map.revisions) - len(before.revisions)
        if grown == 2:  # the session that was open is closed first, then taken back
            self.closed.append(before)
        if grown:  # a chain was finished, or a revision gone over
            self.closed.append(self.map)

    @rule(label=st.sampled_from(["Reef lane 1", "Reef lane 2", "GI", "[/x]"]))
    def name(self, label: str) -> None:
        self.give(Typed(label), Take())

    @rule(answer=st.sampled_from([OneKey.NOTHING_LIT, OneKey.SPARE, OneKey.HIDDEN]))
    def say(self, answer: OneKey) -> None:
        self.give(Say(answer))

    @rule(number=st.integers(0, 4), chain=st.sampled_from("ab"))
    def go(self, number: int, chain: str) -> None:
        self.give(GoTo(number, chain))

    @rule(text=st.sampled_from(["", "a note"]))
    def note(self, text: str) -> None:
        self.give(UseLine(WalkEntry.NOTE), Typed(text), Take())

    @rule()
    def undo(self) -> None:
        self.give(Undo())

    @rule()
    def redo(self) -> None:
        self.give(Redo())

    @rule()
    def close(self) -> None:
        before = len(self.map.revisions)
        self.walk.document.close()
        if len(self.map.revisions) > before:
            self.closed.append(self.map)
        assert self.map.pending == ()

    @rule()
    def killed_and_opened_again(self) -> None:
        self.open(self.map)

    @precondition(lambda self: not self.map.pending and last_undoable(self.map) is not None)
    @rule()
    def undo_revision(self) -> None:
        self.walk.document.close()
        before = len(self.map.revisions)
        self.walk.document.forget_question()
        self.walk(Undo())
        assert len(self.map.revisions) == before, "beyond the session it asks first"
        self.walk(Undo())
        assert len(self.map.revisions) == before + 1
        self.closed.append(self.map)

    @invariant()
    def what_is_pending_leads_back_to_the_last_revision(self) -> None:
        assert same(base_of(self.map), self.closed[-1])

    @invariant()
    def every_revision_can_be_seen_again(self) -> None:
        for number, wanted in enumerate(self.closed):
            assert same(at_revision(self.map, number), wanted)


TestSessions = Sessions.TestCase
TestSessions.settings = settings(max_examples=examples(40), stateful_step_count=25, deadline=None)


def test_a_change_made_elsewhere_is_in_the_session_too() -> None:
    map_ = blank()
    walk = Played(WalkTask(), start(map_, paper=True))
    elsewhere = map_.model_copy(update={"machine": map_.machine.model_copy(update={"note": "joined"})})
    walk.document.commit(elsewhere)
    walk.document.close("planned")
    assert [r.reason for r in walk.map.revisions] == ["planned"]
    assert same(undo(walk.map, time=NOW), map_)


def test_the_session_that_was_never_closed_is_taken_back_as_a_whole() -> None:
    map_ = blank()
    walk = Played(WalkTask(), start(map_, paper=True))
    walk(Typed("Reef lane 1"), Take(), Typed("Reef lane 2"), Take())
    later = Played(WalkTask(), start(walk.map))
    later(Undo(), Undo())
    assert same(later.map, map_)
    assert len(later.map.revisions) == 2
    assert later.map.revisions[0].reason == "Walked: A"


def test_answers_on_paper_verify_nothing() -> None:
    walk = Played(WalkTask(), start(blank(), paper=True))
    walk(Typed("Reef lane 1"), Take())
    assert verified_count(walk.map, walk.map.chain("a")) == 0


def test_logs_stay_whatever_is_undone() -> None:
    assert {"proofs", "observations"} <= NOT_COMPARED
    map_ = renumber(blank(), [Insert(chain="a", after=0)], time=NOW, reason="one more")
    assert undo(map_, time=NOW).proofs is map_.proofs


def test_an_answer_that_a_pixel_has_already_is_no_step_to_undo() -> None:
    """It only moves where the walk goes on; undo asks at once whether the revision before is meant, and then takes it back."""
    session = Sessions()
    session.begin()
    session.name("Reef lane 1")
    session.close()
    session.go(0, "a")
    session.name("Reef lane 1")
    assert not session.map.pending
    session.undo_revision()
