"""The lamp list by pure steps: form texts, places that follow, undo."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.joining import places_of_lamp
from probe.document.model import Kind, Lamp, PlayfieldMap
from probe.document.operations import add_place, new_map, set_lamps
from probe.game.keys import AddLamp, JoinAllSure, JoinByHand, JoinByName, MoveLamp, RemoveLamp, Unjoin
from probe.game.lamp_form import FIELDS, FieldError, LampFacts, LampForm, LampFormTask, lamp_of, texts_of
from probe.game.lamp_form import make as make_form
from probe.game.lamps import ChooseLamp, JoinTo, LampsTask, LampsWork, PutLamp, start
from probe.game.pick import PickFacts, PickTask, PlacePick
from probe.game.pick import make as make_pick
from probe.task import effects as fx
from probe.task.events import Choose, GoOpen, Leave, Redo, Take, TaskClosed, Typed, Undo
from probe.task.light import AsBelow
from probe.task.task import Opened
from probe.task.views import RowsView
from tests.document.strategies import lamps, maps
from tests.support.played import Played


def at_list(map_: PlayfieldMap) -> Played[LampsWork]:
    return Played(LampsTask(), start(map_))


def small() -> PlayfieldMap:
    map_, _ = add_place(new_map("Kelp Forest"), "Reef lane 1", lamps=(1,))
    map_, _ = add_place(map_, "Reef glow", group="string 1")
    rows = [Lamp(number=1, name="Reef lane 1"), Lamp(name="Reef glow", group="string 1"), Lamp(number=3, name="Tilt")]
    return set_lamps(map_, rows)


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
    played = at_list(small())
    played(PutLamp(Lamp(number=8, name="Reef lane one"), 0))
    assert played.map.place_by_id["reef-lane-1"].lamps == (8,)
    played(PutLamp(Lamp(name="Reef glow low", group="string 2"), 1))
    glow = played.map.place_by_id["reef-glow"]
    assert (glow.label, glow.group) == ("Reef glow low", "string 2")
    played(PutLamp(Lamp(number=9, name="Reef glow low"), 1))
    assert played.map.place_by_id["reef-glow"].lamps == (9,)
    played(PutLamp(Lamp(name="Reef glow low", group="string 2"), 1))
    assert places_of_lamp(played.map, played.map.lamps[1]) == [played.map.place_by_id["reef-glow"]]


def test_every_change_is_committed_and_undone() -> None:
    map_ = small()
    played = at_list(map_)
    inputs = (PutLamp(Lamp(number=4, name="Match"), None), MoveLamp(1), RemoveLamp())
    played(*inputs, ChooseLamp(0), Unjoin(), JoinTo("reef-glow"))
    assert sum(isinstance(effect, fx.Commit) for effect in played.effects) == 5
    after = played.map
    played(*[Undo()] * 5)
    assert (played.map.lamps, played.map.places) == (map_.lamps, map_.places)
    assert played(Undo()).message == "nothing to undo"
    played(*[Redo()] * 5)
    assert (played.map.lamps, played.map.places) == (after.lamps, after.places)


@pytest.mark.parametrize("at", range(3))
def test_only_the_row_in_hand_is_taken_out(at: int) -> None:
    rows = small().lamps
    played = at_list(small())
    played(ChooseLamp(at), RemoveLamp())
    assert played.map.lamps == (*rows[:at], *rows[at + 1 :])


def test_proposals_one_by_one() -> None:
    map_, _ = add_place(set_lamps(new_map("Kelp Forest"), small().lamps), "TILT")
    map_, _ = add_place(map_, "reef lane 01")
    played = at_list(map_)
    played(JoinByName())
    assert [match.place for match in played.state.matches or ()] == ["tilt", "reef-lane-01"]
    played(JoinByName(), Take())
    assert played.state.matches is None
    assert [place.lamps for place in played.map.places] == [(), (1,)]
    played(JoinByName(), Leave())
    assert played.state.matches is None
    assert not played.closed
    played(JoinAllSure(), JoinByName())
    assert played.state.message.startswith("no place is left")


def test_only_what_is_sure_is_joined_without_being_asked() -> None:
    map_, _ = add_place(set_lamps(new_map("Kelp Forest"), [Lamp(number=1, name="Whirling pool")]), "Whirlpool")
    played = at_list(map_)
    played(JoinAllSure())
    assert list(played.map.places[0].lamps) == []
    assert played.state.match is not None
    assert not played.state.match.sure
    played(Take())
    assert played.map.places[0].lamps == (1,)


def test_a_row_is_changed_in_its_form_and_a_new_one_comes_after_it() -> None:
    played = at_list(small())
    played(ChooseLamp(1), Take())
    assert played.opened[-1] == fx.Open("lamp", LampFacts(small().lamps[1]))
    played(TaskClosed("lamp", None))
    assert played.map.lamps == small().lamps
    played(Take(), TaskClosed("lamp", Lamp(name="Reef glow low", group="string 1")))
    assert played.map.lamps[1].name == "Reef glow low"
    played(AddLamp())
    assert played.opened[-1] == fx.Open("lamp", LampFacts(None))
    played(TaskClosed("lamp", Lamp(number=7, name="Match")))
    assert [lamp.number for lamp in played.map.lamps] == [1, None, 7, 3]


def test_a_colour_beside_the_list_says_what_it_is_the_colour_of() -> None:
    map_ = set_lamps(small(), (Lamp(number=1, name="Launch arrow", insert_colour="white", note="new bulb"),))
    played = at_list(map_)
    shown = played.task.view(played.state)
    assert isinstance(shown, RowsView)
    assert "white insert · new bulb" in [line.text for line in shown.beside]


def test_a_place_is_picked_for_the_row_in_hand() -> None:
    played = at_list(small())
    played(ChooseLamp(2), JoinByHand())
    assert played.opened[-1] == fx.Open("pick", PickFacts("Which place does Tilt light?", like="Tilt"))
    played(TaskClosed("pick", "reef-glow"))
    assert played.map.place_by_id["reef-glow"].lamps == (3,)
    assert played.wanted == AsBelow()


def test_what_was_changed_is_a_revision_before_another_task_is_opened() -> None:
    """The table that is written from there bears its number."""
    played = at_list(small())
    played(GoOpen("board"))
    assert played.effects[-2:] == [fx.MakeRevision(), fx.Open("board")]


def form(lamp: Lamp | None) -> Played[LampForm]:
    return Played(*make_form(Opened(small(), LampFacts(lamp))))


def test_the_form_goes_to_the_field_that_is_wrong() -> None:
    played = form(None)
    played(Typed("70"), Take())
    assert not played.closed
    assert FIELDS[played.state.chosen] == "name"
    assert "every lamp needs one" in played.state.message
    played(Typed("Apron"), Take())
    assert played.closed == [Lamp(number=70, name="Apron")]


def test_the_form_keeps_every_field_while_another_is_typed() -> None:
    played = form(Lamp(number=5, name="[/x]", group="always"))
    played(Typed(""), Choose(-1), Typed("seen"), Choose(1), Choose(1))
    assert played.state.typed == "[/x]"
    played(Take())
    assert played.closed == [Lamp(name="[/x]", group="always", note="seen")]
    assert isinstance(played.task, LampFormTask)
    assert played(Leave()).texts == played.state.texts
    assert played.closed[-1] is None


def pick(map_: PlayfieldMap, facts: PickFacts) -> Played[PlacePick]:
    return Played(*make_pick(Opened(map_, facts)))


def test_places_to_pick_come_by_likeness_then_as_they_were_named_first() -> None:
    map_ = small()
    for label in ("Tilt sign", "Otter den", "Reef lane 2"):
        map_, _ = add_place(map_, label)
    played = pick(map_, PickFacts("?", like="Tilt sing", first=("otter-den",)))
    assert [place.id for place in played.state.offered][:2] == ["tilt-sign", "otter-den"]
    played(Typed("REEF"), Choose(-1))
    assert [place.id for place in played.state.offered] == ["reef-lane-1", "reef-glow", "reef-lane-2"]
    assert played.state.chosen == 2
    played(Take())
    assert played.closed == ["reef-lane-2"]
    played(Typed("nothing like it"), Choose(1), Take())
    assert played.closed[-1] is None
    assert isinstance(played.task, PickTask)


@pytest.mark.slow
@given(maps(), st.lists(st.sampled_from([
    Choose(1), Choose(-1), RemoveLamp(), MoveLamp(1), MoveLamp(-1), JoinByName(), Take(), JoinAllSure(), Unjoin(),
    Undo(), Redo(), JoinByHand(), AddLamp(), PutLamp(Lamp(number=5, name="[/x]"), None),
    PutLamp(Lamp(name="Glow", group="g"), 0), TaskClosed("pick", "x"), TaskClosed("lamp", Lamp(number=2, name="New")),
]), max_size=12))  # fmt: skip
def test_no_keys_break_any_map(map_: PlayfieldMap, inputs: list[Any]) -> None:
    played = at_list(map_.model_copy(update={"pending": (), "revisions": ()}))  # an invented history fits no map
    played(*inputs)
    assert 0 <= played.state.at <= max(0, len(played.map.lamps) - 1)
    assert played.task.view(played.state)
    for effect in played.effects:
        if isinstance(effect, fx.Commit):
            PlayfieldMap.model_validate(effect.map.model_dump())
