"""Reasons in words for changes of every sort, and revisions for what a visit changed."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given

from probe.document.diff import diff
from probe.document.edits import Replace, apply_edit
from probe.document.file import demo_map_path, load_map
from probe.document.model import Lamp, PixelState, PlayfieldMap, Position
from probe.document.model.record import MAX_TEXT
from probe.document.operations import replace_chain, set_lamps, set_note, set_state, update_place
from probe.document.reasons import reason_of
from probe.document.revisions import at_revision, closed_apart, is_verified, recorded, undo
from probe.document.revisions import changed_in as rewired_in
from tests.document.strategies import maps

NOW = "2026-03-01T19:30:00Z"
DEMO = load_map(demo_map_path())
FEED, PLACE = DEMO.feeds[0], DEMO.places[0]


def chain_with(**update: Any) -> PlayfieldMap:
    return replace_chain(DEMO, DEMO.chain("playfield").model_copy(update=update))


def feed_with(**update: Any) -> PlayfieldMap:
    return DEMO.model_copy(update={"feeds": (FEED.model_copy(update=update), *DEMO.feeds[1:])})


def place_with(**update: Any) -> PlayfieldMap:
    return update_place(DEMO, PLACE.model_copy(update=update))


CASES: dict[str, PlayfieldMap] = {
    f"Feed {FEED.name} moved": feed_with(pixel=DEMO.chain("playfield").pixels[9].id),
    f"Feed {FEED.name} changed": feed_with(fuse_a=5.0),
    f"Feed {FEED.name} taken out": DEMO.model_copy(update={"feeds": DEMO.feeds[1:]}),
    "Playfield: byte order changed": chain_with(order="RGB"),
    "Playfield: ceiling, wire changed": chain_with(ceiling_ma=800, wire="26 AWG"),
    "Walked: Playfield": set_state(DEMO, "playfield", 3, PixelState.DARK),
    "Pixels noted about: Playfield": set_note(DEMO, "playfield", 3, "brittle"),
    f"{len(DEMO.lamps)} lamps taken out": set_lamps(DEMO, ()),
    "Lamp Otter added": set_lamps(DEMO, (*DEMO.lamps, Lamp(number=77, name="Otter"))),
    "Lamps: put in another order": set_lamps(DEMO, DEMO.lamps[::-1]),
    f"Put elsewhere: {PLACE.label}": place_with(position=Position(x_mm=1, y_mm=2)),
    f"Light set: {PLACE.label}": place_with(level=9),
    f"Joined to lamps: {PLACE.label}": place_with(lamps=(77,)),
    f"Place {PLACE.label} changed": place_with(note="cracked"),
    "Worked on the map": DEMO,
}


@pytest.mark.parametrize("words", CASES)
def test_every_sort_of_change_says_what_it_was(words: str) -> None:
    after = CASES[words]
    assert reason_of(after, diff(DEMO, after)) == words


def test_several_are_said_together_and_many_counted() -> None:
    map_ = feed_with(fuse_a=5.0)
    map_ = set_note(map_, "playfield", 3, "brittle")
    assert reason_of(map_, diff(DEMO, map_)) == f"Pixels noted about: Playfield; feed {FEED.name} changed"
    map_ = DEMO.model_copy(update={"places": tuple(p.model_copy(update={"level": 7}) for p in DEMO.places)})
    assert reason_of(map_, diff(DEMO, map_)) == f"Light set: {len(DEMO.places)} places"


@pytest.mark.slow
@given(maps(), maps())
def test_any_change_has_a_reason_that_a_map_can_hold(one: PlayfieldMap, other: PlayfieldMap) -> None:
    words = reason_of(other, diff(one, other))
    assert 0 < len(words) <= MAX_TEXT


def test_a_visit_is_a_revision_apart_from_what_was_pending() -> None:
    walked = recorded(DEMO, set_state(DEMO, "playfield", 3, PixelState.DARK))
    moved = recorded(DEMO, walked.model_copy(update={"feeds": DEMO.feeds[1:]}))
    map_ = closed_apart(walked, moved, time=NOW)
    assert [r.reason for r in map_.revisions[-2:]] == ["Walked: Playfield", f"Feed {FEED.name} taken out"]
    assert map_.pending == ()
    assert diff(at_revision(map_, map_.revisions[-2].number), walked) == ()
    assert diff(undo(map_, time=NOW), walked) == ()
    assert diff(undo(undo(map_, time=NOW), time=NOW), DEMO) == ()


def test_nothing_changed_nothing_closed() -> None:
    walked = recorded(DEMO, set_state(DEMO, "playfield", 3, PixelState.DARK))
    assert closed_apart(walked, walked, time=NOW) is walked
    assert closed_apart(DEMO, walked, time=NOW, reason="said").revisions[-1].reason == "said"


def test_what_was_verified_before_a_repair_in_the_same_session_is_not_verified_after_it() -> None:
    number = DEMO.revisions[-1].number + 1
    chain = DEMO.chain("playfield")
    seen = chain.pixels[3].model_copy(update={"verified": number})
    walked = replace_chain(DEMO, chain.model_copy(update={"pixels": (*chain.pixels[:3], seen, *chain.pixels[4:])}))
    walked = recorded(DEMO, walked)
    assert is_verified(seen, rewired_in(walked, "playfield"))
    repaired = recorded(DEMO, apply_edit(walked, Replace(chain="playfield", number=9)))
    map_ = closed_apart(walked, repaired, time=NOW)
    assert rewired_in(map_, "playfield") == number + 1
    assert not is_verified(map_.chain("playfield").pixels[3], rewired_in(map_, "playfield"))
