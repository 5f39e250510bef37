"""Looking through revisions and going back, pure: whatever is done, every revision can still be seen and gone back to."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from probe.document.diff import diff
from probe.document.edits import Insert, Remove, renumber
from probe.document.file import demo_map_path, load_map
from probe.document.model import PixelState, PlayfieldMap
from probe.document.operations import set_note, set_state
from probe.document.revisions import NoRevisionError, at_revision, back_to, recorded, undo
from probe.mapping.history import NOW as OPEN
from probe.mapping.history import History, HistoryTask, Mark, Travel, pair_words
from probe.task.effects import Bell, Commit
from probe.task.events import Choose
from probe.task.events import Take as GoBack
from tests.support.examples import examples
from tests.test_sessions import blank, same

NOW = "2026-03-01T19:30:00Z"


def revised_map() -> PlayfieldMap:
    map_ = renumber(blank(), [Insert(chain="a", after=1, count=2)], time=NOW, reason="two new")
    return renumber(map_, [Remove(chain="b", first=0, last=0)], time=NOW, reason="one out [/x]")


def start(map_: PlayfieldMap) -> History:
    return History(map=map_)


def step(state: History, key: object, now_s: float) -> tuple[History, tuple[object, ...]]:
    found = HistoryTask().step(state, key, now_s)
    assert found is not None
    return found


def given(state: History, *keys: object) -> tuple[History, list[PlayfieldMap]]:
    saved: list[PlayfieldMap] = []
    for key in keys:
        state, effects = step(state, key, 0.0)
        saved += [e.map for e in effects if isinstance(e, Commit)]
    return state, saved


def test_every_revision_is_a_line_with_its_diff() -> None:
    state = start(revised_map())
    assert [(line.number, line.reason) for line in state.lines] == [
        (2, "one out [/x]"),
        (1, "two new"),
        (0, "Before the first revision"),
    ]
    assert state.pair == (1, 2)
    assert state.differences[:3] == ("B: count 5 → 4", "B: taken out: was 0 (unseen)", "B: 1–4 → 0–3")
    assert state.lines[0].summary == "B: count 5 → 4 (+3)"
    older, _ = given(state, Choose(1))
    assert older.differences[0] == "A: count 5 → 7"
    last, _ = given(state, Choose(99))
    assert (pair_words(last), last.differences) == ("There is nothing before this", ())


def test_any_two_are_compared_in_the_order_of_time() -> None:
    state, _ = given(start(revised_map()), Mark(), Choose(2))
    assert pair_words(state) == "From before the first revision to revision 2"
    assert {line[0] for line in state.differences} == {"A", "B"}
    other, _ = given(start(revised_map()), Choose(2), Mark(), Choose(-2))
    assert other.differences == state.differences
    assert given(other, Choose(2), Mark())[0].marked is None


def test_the_open_session_is_a_line_too() -> None:
    map_ = revised_map()
    state = start(recorded(map_, set_note(map_, "a", 0, "brittle")))
    assert state.line.number == OPEN
    assert state.line.reason == "Pixels noted about: A (open session)"
    assert pair_words(state) == "From revision 2 to now"
    assert len(state.differences) == 1
    assert given(state, GoBack(NOW))[0].message == "this is what the map says now"
    back, saved = given(state, Choose(1), GoBack(NOW), GoBack(NOW))
    assert same(back.map, map_)
    assert [r.reason for r in saved[-1].revisions[2:]] == [
        "Pixels noted about: A",
        "Back to revision 2, one out [/x]",
    ]


def test_going_back_is_asked_twice_and_is_a_revision() -> None:
    map_ = revised_map()
    once, saved = given(start(map_), Choose(1), GoBack(NOW))
    assert (once.map, saved) == (map_, [])
    assert "once more" in once.message
    moved, saved = given(once, Choose(1), Choose(-1), GoBack(NOW))
    assert saved == [], "another line in between asks anew"
    done, saved = given(once, GoBack(NOW))
    assert saved == [done.map]
    assert same(done.map, at_revision(map_, 1))
    assert done.map.revisions[:2] == map_.revisions
    assert done.map.revisions[-1].rewired == ("b",)
    assert same(undo(done.map, time=NOW), map_)
    first, _ = given(start(map_), Choose(2), GoBack(NOW), GoBack(NOW))
    assert same(first.map, blank())
    assert first.map.revisions[-1].reason == "Back to before the first revision"
    assert moved.asked == 1


def test_undo_and_redo() -> None:
    map_ = revised_map()
    undone, saved = given(start(map_), Travel(NOW))
    assert same(saved[-1], at_revision(map_, 1))
    again, _ = given(undone, Travel(NOW, redo=True))
    assert same(again.map, map_)
    none, effects = step(start(blank()), Travel(NOW), 0.0)
    assert none.message == "there is no revision that can be undone"
    assert effects == (Bell(),)


def test_revisions_that_do_not_say_what_they_changed_are_told_and_not_gone_behind() -> None:
    map_ = load_map(demo_map_path())
    state = start(map_)
    assert state.differences[-1] == "(More was not written down with this revision.)"
    assert state.differences[:-1] == map_.revisions[-1].changes
    gone, saved = given(state, Choose(1), GoBack(NOW), GoBack(NOW))
    assert saved == []
    assert gone.map is map_
    assert "does not say what it changed" in gone.message
    marked, _ = given(state, Mark(), Choose(1))
    assert "does not say what it changed" in marked.differences[0]


def test_a_session_has_to_be_closed_first() -> None:
    map_ = revised_map()
    with pytest.raises(NoRevisionError, match="still open"):
        back_to(recorded(map_, set_note(map_, "a", 0, "x")), 1, time=NOW)
    assert back_to(map_, 2, time=NOW) is map_
    with pytest.raises(NoRevisionError, match="no revision 9"):
        back_to(map_, 9, time=NOW)


class LookingBack(RuleBasedStateMachine):
    """Changes, undo, redo and going back in any order; beside it, the map at every revision."""

    @initialize()
    def begin(self) -> None:
        self.state = start(blank())
        self.maps = [self.state.map]

    def keep(self) -> None:
        held = {r.number for r in self.state.map.revisions}
        while len(self.maps) <= max(held, default=0):
            self.maps.append(at_revision(self.state.map, len(self.maps)))

    @rule(number=st.integers(0, 3), state=st.sampled_from([PixelState.DARK, PixelState.SPARE]))
    def change(self, number: int, state: PixelState) -> None:
        map_ = self.state.map
        self.state = replace(
            self.state, map=recorded(at_revision(map_, len(self.maps) - 1), set_state(map_, "a", number, state))
        )

    @rule(after=st.integers(0, 2))
    def splice(self, after: int) -> None:
        if not self.state.map.pending:
            edit = Insert(chain="a", after=after)
            self.state = replace(self.state, map=renumber(self.state.map, [edit], time=NOW, reason="more"))
            self.keep()

    @rule(redo=st.booleans())
    def travel(self, redo: bool) -> None:
        self.state, _ = given(self.state, Travel(NOW, redo=redo))
        self.keep()

    @rule(by=st.integers(-3, 3))
    def go_back(self, by: int) -> None:
        self.state, _ = given(self.state, Choose(by))
        number = self.state.line.number
        wanted = self.maps[number] if number >= 0 else self.state.map
        self.state, _ = given(self.state, GoBack(NOW), GoBack(NOW))
        self.keep()
        assert same(self.state.map, wanted)

    @invariant()
    def every_revision_can_be_seen_again(self) -> None:
        for number, wanted in enumerate(self.maps):
            assert diff(at_revision(self.state.map, number), wanted) == ()
        assert self.state.differences is not None


TestLookingBack = LookingBack.TestCase
TestLookingBack.settings = settings(max_examples=examples(40), stateful_step_count=20)
