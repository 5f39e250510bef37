"""The lamp list by pure steps: form texts, places that follow, undo."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.joining import places_of_lamp
from probe.document.model import Kind, Lamp, PlayfieldMap
from probe.document.operations import add_place, new_map, set_lamps
from probe.game.lamps import (
    FIELDS,
    Accept,
    Choose,
    ChooseAt,
    EndJoining,
    FieldError,
    JoinTo,
    LampsWork,
    MoveRow,
    Propose,
    Put,
    Remove,
    Retry,
    Skip,
    Undo,
    Unjoin,
    lamp_of,
    start,
    step,
    texts_of,
)
from probe.task.steps import NotSaved, Saved, SaveMap
from tests.document.strategies import lamps, maps


def played(work: LampsWork, *inputs: Any) -> tuple[LampsWork, list[Any]]:
    effects: list[Any] = []
    for given_input in inputs:
        work, new = step(work, given_input, 0.0)
        effects += new
    return work, effects


def small() -> PlayfieldMap:
    m, _ = add_place(new_map("Kelp Forest"), "Reef lane 1", lamps=(1,))
    m, _ = add_place(m, "Reef glow", group="string 1")
    rows = [Lamp(number=1, name="Reef lane 1"), Lamp(name="Reef glow", group="string 1"), Lamp(number=3, name="Tilt")]
    return set_lamps(m, rows)


@given(lamps)
def test_a_row_as_texts_is_the_row_again(lamp: Lamp) -> None:
    stripped = lamp.model_copy(
        update={n: getattr(lamp, n).strip() for n in FIELDS if isinstance(getattr(lamp, n), str) and n != "kind"}
    )
    if stripped.name:
        assert lamp_of(texts_of(lamp)) == stripped


@given(st.dictionaries(st.sampled_from(FIELDS), st.text(max_size=20)))
def test_any_texts_make_a_row_or_name_the_field(texts: dict[str, str]) -> None:
    try:
        lamp_of(texts)
    except FieldError as exc:
        found = exc.field
    else:
        return
    assert found in FIELDS


@pytest.mark.parametrize(
    ("texts", "field"),
    [
        ({"number": "x", "name": "Tilt"}, "number"),
        ({"number": "99999", "name": "Tilt"}, "number"),
        ({"number": "1"}, "name"),
        ({"name": "Tilt"}, "number"),
        ({"number": "1", "name": "Tilt", "row": "0"}, "row"),
        ({"number": "1", "name": "Tilt", "kind": "lantern"}, "kind"),
    ],
)
def test_what_is_wrong_names_its_field(texts: dict[str, str], field: str) -> None:
    with pytest.raises(FieldError) as caught:
        lamp_of(texts)
    assert caught.value.field == field


def test_kinds_may_be_shortened() -> None:
    assert lamp_of({"number": "1", "name": "Tilt", "kind": "back"}).kind is Kind.BACKBOX


def test_places_follow_their_row() -> None:
    work, _ = played(start(small()), Put(Lamp(number=8, name="Reef lane one"), 0))
    assert work.map.place_by_id["reef-lane-1"].lamps == (8,)
    work, _ = played(work, Put(Lamp(name="Reef glow low", group="string 2"), 1))
    glow = work.map.place_by_id["reef-glow"]
    assert (glow.label, glow.group) == ("Reef glow low", "string 2")
    work, _ = played(work, Put(Lamp(number=9, name="Reef glow low"), 1))
    assert work.map.place_by_id["reef-glow"].lamps == (9,)
    work, _ = played(work, Put(Lamp(name="Reef glow low", group="string 2"), 1))
    assert places_of_lamp(work.map, work.map.lamps[1]) == [work.map.place_by_id["reef-glow"]]


def test_every_change_is_saved_and_undone() -> None:
    m = small()
    inputs = (Put(Lamp(number=4, name="Match"), None), MoveRow(1), Remove(), ChooseAt(0), Unjoin(), JoinTo("reef-glow"))
    work, effects = played(start(m), *inputs)
    saves = [effect for effect in effects if isinstance(effect, SaveMap)]
    assert len(saves) == 5
    work, _ = played(work, *[Undo()] * 5)
    assert work.map is m
    work, effects = played(work, Undo())
    assert work.message == "nothing to undo"


def test_proposals_one_by_one() -> None:
    m, _ = add_place(set_lamps(new_map("Kelp Forest"), small().lamps), "TILT")
    m, _ = add_place(m, "reef lane 01")
    work, _ = played(start(m), Propose())
    assert [match.place for match in work.matches or ()] == ["tilt", "reef-lane-01"]
    work, _ = played(work, Skip(), Accept())
    assert work.matches is None
    assert [place.lamps for place in work.map.places] == [(), (1,)]
    work, _ = played(work, Propose(), EndJoining())
    assert work.matches is None
    work, _ = played(work, Propose(), Accept(all_sure=True), Propose())
    assert work.message.startswith("no place is left")


def test_a_list_that_cannot_be_saved_says_so() -> None:
    work, _ = played(start(small()), NotSaved("the disk is full"))
    assert work.unsaved
    work, effects = played(work, Retry(), Saved())
    assert effects == [SaveMap(work.map)]
    assert not work.unsaved


@given(maps(), st.lists(st.sampled_from([
    Choose(1), Choose(-1), Remove(), MoveRow(1), MoveRow(-1), Propose(), Accept(), Accept(all_sure=True), Skip(),
    Unjoin(), Undo(), Put(Lamp(number=5, name="[/x]"), None), Put(Lamp(name="Glow", group="g"), 0),
]), max_size=12))  # fmt: skip
def test_no_keys_break_any_map(m: PlayfieldMap, inputs: list[Any]) -> None:
    work, effects = played(start(m), *inputs)
    assert 0 <= work.at <= max(0, len(work.map.lamps) - 1)
    for effect in effects:
        if isinstance(effect, SaveMap):
            PlayfieldMap.model_validate(effect.map.model_dump())
