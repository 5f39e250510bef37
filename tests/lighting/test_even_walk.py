"""The guided walk for evenness, as pure steps."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.file.layout import render_map
from probe.document.lamp_table import lamp_table
from probe.document.model import PlayfieldMap
from probe.document.model.light import Measure, Rating
from probe.document.operations import new_map
from probe.lighting import even_keys as key
from probe.lighting.even_walk import EvenWalk, analyse, start, step
from probe.lighting.evenness import lit_places, stops
from probe.task.steps import BoardGone, ButtonPressed, NotShown, RingBell, SaveMap, ShowDark
from tests.lighting.boards import Player
from tests.lighting.test_evenness import row
from tests.support.examples import examples

TIME = "2025-04-01T20:00:00Z"
DEMO = load_map(demo_map_path())
CEILINGS = {chain.output: chain.ceiling_ma for chain in DEMO.chains}


def player(m: PlayfieldMap, **more: int | bool) -> Player:
    return Player(step, start(m), **more)  # type: ignore[arg-type]


def test_all_of_it_is_lit_while_the_person_looks() -> None:
    p = player(DEMO)
    assert len(p.lit(0)) + len(p.lit(1)) == len(lit_places(DEMO))
    assert p.within_ceiling(CEILINGS)
    p.give(key.ToggleAlone())
    assert len(p.lit(0)) == len(p.state.places_at(p.state.stop))
    p.give(key.Rate(Rating.FAIR, TIME))
    assert "alone" in p.state.message
    assert not p.state.readings
    p.give(key.ToggleAlone(), key.Rate(Rating.FAIR, TIME))
    assert len(p.state.readings) == 1


def test_each_answer_is_saved_and_the_next_open_stop_comes() -> None:
    p = player(row([70.0] * 4))
    for number, stop in enumerate(p.state.stops[:-1]):
        assert p.state.stop == stop
        found = p.give(key.Rate(Rating.FAIR, TIME))
        assert [type(effect) for effect in found] == [SaveMap]
        assert len(p.state.map.readings) == number + 1
    p.give(key.Typed("120"), key.Take(TIME))
    assert p.state.done
    assert p.state.map.readings[-1].value == 120
    assert render_map(p.state.map)


def test_numbers_may_be_lux_or_camera_values() -> None:
    p = player(row([70.0] * 4))
    p.give(key.Typed("85,5 lux"), key.Take(TIME))
    assert (p.state.map.readings[-1].value, p.state.map.readings[-1].measure) == (85.5, Measure.LUX)
    p.give(key.ChangeMeasure(), key.Typed("256"), key.Take(TIME))
    assert "0 to 255" in p.state.message
    p.give(key.Typed("188"), key.Take(TIME))
    assert p.state.map.readings[-1].measure is Measure.CAMERA
    for wrong in ("", "-1", "x", "1 2", "٣"):
        before = len(p.state.map.readings)
        assert p.give(key.Typed(wrong), key.Take(TIME)) == [RingBell()]
        assert len(p.state.map.readings) == before


def test_a_walk_goes_on_where_it_stopped_and_a_complete_one_is_followed_by_another() -> None:
    p = player(row([70.0] * 3))
    p.give(key.Rate(Rating.FAIR, TIME), key.Rate(Rating.DARK, TIME))
    again = start(p.state.map)
    assert again.round == 1
    assert again.stop == p.state.stop
    while not p.state.done:
        p.give(key.Rate(Rating.FAIR, TIME))
    assert start(p.state.map).round == 2


def walked(m: PlayfieldMap, hot: str) -> Player:
    p = player(m)
    while not p.state.done:
        rating = Rating.HOT if p.state.stop == (hot, None) else Rating.FAIR
        p.give(key.Rate(rating, TIME))
    return p


def test_from_ratings_to_trims_in_the_table_and_a_second_walk() -> None:
    m = row([70.0] * 5)
    hot = m.places[2].id
    p = walked(m, hot)
    found = analyse(p.state.map, 1, p.identity)
    p.give(found)
    assert p.state.suggestion is not None
    trimmed = {trim.place: trim.level for trim in p.state.suggestion.trims}
    assert trimmed[hot] < 200
    effects = p.give(key.Take(TIME))
    assert isinstance(effects[0], SaveMap)
    assert p.state.map.place_by_id[hot].level == trimmed[hot]
    assert all(
        pixel.level == trimmed.get(p.state.map.chains[0].pixels[pixel.number].place or "", 200)
        for group in lamp_table(p.state.map).groups
        for pixel in group.pixels
    )
    assert p.give(key.Take(TIME)) == [RingBell()]  # not twice
    p.give(key.NewRound())
    assert (p.state.round, p.state.done) == (2, False)
    before, of = p.state.before
    assert before is not None
    assert of == "by eye"
    p.give(key.Rate(Rating.FAIR, TIME))
    assert p.state.map.readings[-1].round == 2
    p.give(key.Undo(), key.Undo())
    assert p.state.map.place_by_id[hot].level == 200


def test_a_result_for_another_walk_is_not_taken() -> None:
    p = walked(row([70.0] * 3), "glow-1")
    p.give(key.Analysed(7, None, None, "late"))
    assert p.state.trouble == ""
    p.give(key.Analysed(1, None, None, "no fit"))
    assert p.state.trouble == "no fit"
    assert p.give(key.Take(TIME)) == [RingBell()]


def test_too_few_readings_give_no_result() -> None:
    p = player(row([70.0] * 3))
    p.give(key.Rate(Rating.FAIR, TIME), key.Finish())
    assert not p.state.done
    assert analyse(p.state.map, 1, None).trouble


def test_nothing_counts_while_it_is_not_lit() -> None:
    p = player(row([70.0] * 3))
    p.give(NotShown(ShowDark(0), "refused"))
    assert p.give(key.Rate(Rating.FAIR, TIME)) == [RingBell()]
    p.give(key.Retry(), key.Rate(Rating.FAIR, TIME))
    assert len(p.state.readings) == 1
    p.give(BoardGone("unplugged"))
    p.give(key.Rate(Rating.FAIR, TIME))  # on paper, as seen before
    assert len(p.state.readings) == 2


def test_moving_about() -> None:
    p = player(row([70.0] * 3))
    p.give(key.Move(-1))
    assert p.state.at == len(p.state.stops) - 1
    p.give(ButtonPressed(1))
    assert p.state.at == 0
    p.give(key.Jump("glow-2"))
    assert p.state.stop == ("glow-2", None)


def test_a_map_without_general_illumination_is_refused() -> None:
    with pytest.raises(ValueError, match="two places"):
        start(new_map("Kelp Forest"))


SMALL = row([70.0, 50.0, 90.0], ceiling_ma=60)
inputs = st.one_of(
    st.builds(key.Rate, st.sampled_from(list(Rating)), st.just(TIME)),
    st.builds(key.Typed, st.sampled_from(["120", "40 lux", "300", "", "x"])),
    st.builds(key.Move, st.integers(-9, 9)),
    st.builds(key.Jump, st.sampled_from([place.id for place in SMALL.places])),
    st.sampled_from(
        [
            key.Take(TIME),
            key.ChangeMeasure(),
            key.ToggleAlone(),
            key.Finish(),
            key.NewRound(),
            key.Undo(),
            key.Retry(),
        ]
    ),
)


@settings(max_examples=examples(60))
@given(st.lists(inputs, max_size=40))
def test_any_inputs_keep_the_rules(given_: list[object]) -> None:
    p = player(SMALL)
    for each in given_:
        before: EvenWalk = p.state
        effects = p.give(each)
        after: EvenWalk = p.state
        assert p.within_ceiling({0: 60})
        assert 0 <= after.at < len(after.stops)
        if after.map is not before.map:
            assert any(isinstance(effect, SaveMap) and effect.map is after.map for effect in effects)
        keys = [(r.round, r.place, r.to) for r in after.map.readings]
        assert len(set(keys)) == len(keys)
    assert {(r.place, r.to) for r in p.state.map.readings} <= set(stops(SMALL))
    render_map(p.state.map)
