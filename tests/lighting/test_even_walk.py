"""The guided walk for evenness, as pure steps."""

from __future__ import annotations

from dataclasses import replace

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
from probe.lighting.even_walk import Analysed, EvennessTask, EvenWalk, analyse, make, start
from probe.lighting.evenness import lit_places, stops
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.task import Opened
from probe.ui.footer import hints_for
from tests.lighting.boards import LitTask
from tests.lighting.test_evenness import row
from tests.support.boards import identity
from tests.support.examples import examples

TIME = "2025-04-01T20:00:00Z"
DEMO = load_map(demo_map_path())
CEILINGS = {chain.output: chain.ceiling_ma for chain in DEMO.chains}


def player(map_: PlayfieldMap) -> LitTask:
    return LitTask(EvennessTask(), start(map_), identity=identity(ceiling_ma=2_000))


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


@pytest.mark.slow
def test_each_answer_is_saved_and_the_next_open_stop_comes() -> None:
    p = player(row([70.0] * 4))
    for number, stop in enumerate(p.state.stops[:-1]):
        assert p.state.stop == stop
        found = p.give(key.Rate(Rating.FAIR, TIME))
        assert [type(effect) for effect in found] == [fx.Commit]
        assert len(p.map.readings) == number + 1
    p.give(ev.Typed("120"), ev.Take(TIME))
    assert p.state.done
    assert p.map.readings[-1].value == 120
    assert render_map(p.map)


def _enter(state: EvenWalk) -> list[str]:
    """What the footer says that Enter does."""
    return [hint.words for hint in hints_for(EvennessTask.commands, state, {}) if hint.key == "Enter"]


def test_the_footer_begins_with_what_enter_does_now() -> None:
    p = player(row([70.0] * 4))
    assert _enter(p.state) == ["Fair"]
    p.give(ev.Typed("120"))
    assert _enter(p.state) == ["Take"]
    over = replace(p.state, done=True, typed="")
    assert _enter(over) == [], "there are no trims to take"
    keys = [hint.key for hint in hints_for(EvennessTask.commands, over, {})]
    assert not {"F2", "F3"} & set(keys), "nothing is asked"


def test_a_second_answer_takes_the_place_of_the_first() -> None:
    p = player(row([70.0] * 4))
    p.give(key.Rate(Rating.FAIR, TIME), key.Rate(Rating.DARK, TIME), key.MoveStop(-2), key.Rate(Rating.HOT, TIME))
    assert [reading.rating for reading in p.map.readings] == [Rating.DARK, Rating.HOT]
    assert p.state.readings[p.state.stops[0]].rating is Rating.HOT


def test_numbers_may_be_lux_or_camera_values() -> None:
    p = player(row([70.0] * 4))
    p.give(ev.Typed("85,5 lux"), ev.Take(TIME))
    assert (p.map.readings[-1].value, p.map.readings[-1].measure) == (85.5, Measure.LUX)
    p.give(key.ChangeMeasure(), ev.Typed("256"), ev.Take(TIME))
    assert "0 to 255" in p.state.message
    p.give(ev.Typed("188"), ev.Take(TIME))
    assert p.map.readings[-1].measure is Measure.CAMERA
    for wrong in ("-1", "x", "1 2", "٣"):
        before = len(p.map.readings)
        assert p.give(ev.Typed(wrong), ev.Take(TIME)) == [fx.Bell()]
        assert len(p.map.readings) == before
    p.give(ev.Typed(""), ev.Take(TIME))
    assert p.map.readings[-1].rating is Rating.FAIR, "Enter alone: this stop is fair"


@pytest.mark.slow
def test_a_walk_goes_on_where_it_stopped_and_a_complete_one_is_followed_by_another() -> None:
    p = player(row([70.0] * 3))
    p.give(key.Rate(Rating.FAIR, TIME), key.Rate(Rating.DARK, TIME))
    again = start(p.map)
    assert again.message.startswith("walk 1 goes on")
    assert again.round == 1
    assert again.stop == p.state.stop
    while not p.state.done:
        p.give(key.Rate(Rating.FAIR, TIME))
    assert start(p.map).round == 2


def walked(map_: PlayfieldMap, hot: str) -> LitTask:
    p = player(map_)
    while not p.state.done:
        rating = Rating.HOT if p.state.stop == (hot, None) else Rating.FAIR
        p.give(key.Rate(rating, TIME))
    return p


@pytest.mark.slow
def test_from_ratings_to_trims_in_the_table_and_a_second_walk() -> None:
    map_ = row([70.0] * 5)
    hot = map_.places[2].id
    p = walked(map_, hot)
    assert any(isinstance(effect, fx.Job) for effect in p.effects)
    assert p.state.suggestion is not None
    assert _enter(p.state) == ["Take the trims"]
    trimmed = {trim.place: trim.level for trim in p.state.suggestion.trims}
    assert trimmed[hot] < 200
    effects = p.give(ev.Take(TIME))
    assert isinstance(effects[0], fx.Commit)
    assert p.map.place_by_id[hot].level == trimmed[hot]
    assert all(
        pixel.level == trimmed.get(p.map.chains[0].pixels[pixel.number].place or "", 200)
        for group in lamp_table(p.map).groups
        for pixel in group.pixels
    )
    assert p.give(ev.Take(TIME)) == [fx.Bell()]  # not twice
    p.give(key.NewRound())
    assert (p.state.round, p.state.done) == (2, False)
    before, of = p.state.before
    assert before is not None
    assert of == "by eye"
    p.give(key.Rate(Rating.FAIR, TIME))
    assert p.map.readings[-1].round == 2
    p.give(ev.Undo(), ev.Undo())
    assert p.map.place_by_id[hot].level == 200


@pytest.mark.slow
def test_a_result_for_another_walk_is_not_taken() -> None:
    p = walked(row([70.0] * 3), "glow-1")
    p.give(ev.JobDone("evenness", Analysed(7, None, None, "late")))
    assert p.state.trouble == ""
    p.give(ev.JobDone("evenness", Analysed(1, None, None, "no fit")))
    assert p.state.trouble == "no fit"
    assert p.give(ev.Take(TIME)) == [fx.Bell()]


def test_too_few_readings_give_no_result() -> None:
    p = player(row([70.0] * 3))
    p.give(key.Rate(Rating.FAIR, TIME), key.Finish())
    assert not p.state.done
    assert analyse(p.map, 1, None).trouble


def test_nothing_counts_while_it_is_not_lit() -> None:
    p = player(row([70.0] * 3))
    p.refuse("refused")
    assert p.task.view(p.state).message.startswith("refused")
    assert p.give(key.Rate(Rating.FAIR, TIME)) == [fx.Bell()]
    p.give(ev.Retry(), key.Rate(Rating.FAIR, TIME))
    assert len(p.state.readings) == 1
    p.lose("unplugged")
    p.give(key.Rate(Rating.FAIR, TIME))  # on paper, as seen before
    assert len(p.state.readings) == 2


def test_moving_about() -> None:
    p = player(row([70.0] * 3))
    p.give(key.MoveStop(-1))
    assert p.state.at == len(p.state.stops) - 1
    p.give(ev.StepButton(1))
    assert p.state.at == 0
    p.give(key.JumpToStop("glow-2"))
    assert p.state.stop == ("glow-2", None)


def test_a_map_without_general_illumination_is_refused() -> None:
    with pytest.raises(ValueError, match="two places"):
        make(Opened(new_map("Kelp Forest")))


SMALL = row([70.0, 50.0, 90.0], ceiling_ma=60)
inputs = st.one_of(
    st.builds(key.Rate, st.sampled_from(list(Rating)), st.just(TIME)),
    st.builds(ev.Typed, st.sampled_from(["120", "40 lux", "300", "", "x"])),
    st.builds(key.MoveStop, st.integers(-9, 9)),
    st.builds(key.JumpToStop, st.sampled_from([place.id for place in SMALL.places])),
    st.sampled_from(
        [
            ev.Take(TIME),
            key.ChangeMeasure(),
            key.ToggleAlone(),
            key.Finish(),
            key.NewRound(),
            ev.Undo(),
            ev.Retry(),
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
        if after.map is not before.map and each != ev.Undo():
            said = [effect.map for effect in effects if isinstance(effect, fx.Commit)][-1]
            assert (said.readings, said.places) == (after.map.readings, after.map.places)
        keys = [(r.round, r.place, r.to) for r in after.map.readings]
        assert len(set(keys)) == len(keys)
    assert {(r.place, r.to) for r in p.map.readings} <= set(stops(SMALL))
    render_map(p.map)


def test_the_stop_that_is_asked_about_is_named_whole() -> None:
    state = player(DEMO).state
    for at, stop in enumerate(state.stops):
        shown = EvennessTask().view(replace(state, at=at)).above
        assert any(line.text == state.named(stop) and line.wrap for line in shown), "it does not fit beside the picture"
