"""First power-up: what readings mean, what bars what, how they are kept; and the task behind the screen."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from device_protocol.board import BoardConfig, SimulatedBoard
from device_protocol.orders import Identity
from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.document.model.harness import Judged, Metered
from probe.harness.base import PowerError
from probe.harness.from_map import compute, plan_of
from probe.harness.power_up import (
    DIM,
    OFF,
    RED,
    SAFE_FIRST,
    STAGES,
    UNITS,
    WHITE,
    Awaited,
    barred,
    judge,
    last_readings,
    note,
    read_value,
    stage_light,
)
from probe.task.light import Dark, Light, Pixels

DEMO = load_map(demo_map_path())
POWER = compute(DEMO)
TIME = "2025-04-03T20:00:00Z"


def after(*readings: tuple[Metered, str]) -> PlayfieldMap:
    """The demonstration with readings of its backbox, in that order."""
    map_ = DEMO
    for what, text in readings:
        map_, _ = note(map_, POWER, "backbox", what, text, TIME)
    return map_


RIGHT_WAY = (Metered.POLARITY, "5.0")
NO_SHORT = (Metered.OHMS, "open")


def judged(what: Metered, value: float | None) -> Judged:
    return judge(POWER, "backbox", what, value).judged


@pytest.mark.parametrize(
    ("what", "value", "expected"),
    [
        (Metered.POLARITY, 5.0, Judged.GOOD),
        (Metered.POLARITY, -5.0, Judged.STOP),
        (Metered.POLARITY, 5.4, Judged.STOP),  # WS2812B sheet: 5.3 V at most
        (Metered.POLARITY, 4.4, Judged.LOOK),
        (Metered.OHMS, 0.3, Judged.STOP),
        (Metered.OHMS, 1.99, Judged.STOP),
        (Metered.OHMS, 2.0, Judged.LOOK),
        (Metered.OHMS, 20.0, Judged.GOOD),
        (Metered.OHMS, None, Judged.GOOD),
        (Metered.FUSE, 2.0, Judged.GOOD),
        (Metered.FUSE, 5.5, Judged.GOOD),  # as the wire's rating
        (Metered.FUSE, 5.51, Judged.STOP),
        (Metered.FUSE, 0.3, Judged.LOOK),
        (Metered.FIRST_VOLT, 5.0, Judged.GOOD),
        (Metered.FIRST_VOLT, 4.7, Judged.LOOK),
        (Metered.FIRST_VOLT, 0.2, Judged.STOP),
        (Metered.FIRST_VOLT, 3.4, Judged.STOP),  # sheet: 3.5 V at least
        (Metered.FIRST_VOLT, -0.1, Judged.STOP),
        (Metered.LAST_VOLT, 5.31, Judged.STOP),
        (Metered.LAST_VOLT, 4.9, Judged.GOOD),
        (Metered.DARK_MA, 24, Judged.GOOD),
        (Metered.DARK_MA, 100, Judged.LOOK),
        (Metered.DARK_MA, 2_500, Judged.STOP),
        (Metered.RED_MA, 500, Judged.GOOD),
        (Metered.RED_MA, 60, Judged.LOOK),
        (Metered.CEILING_MA, 440, Judged.GOOD),
        (Metered.CEILING_MA, 20, Judged.GOOD),
        (Metered.CEILING_MA, 520, Judged.LOOK),
        (Metered.CEILING_MA, 2_100, Judged.STOP),
    ],
)
def test_what_a_reading_means(what: Metered, value: float | None, expected: Judged) -> None:
    """The demonstration's backbox: 24 pixels of 20 mA a colour (assumed) and 1 mA dark, a 2 A fuse, wire good for 5.5 A."""
    assert judged(what, value) is expected


@pytest.mark.parametrize(
    ("text", "what", "value"),
    [
        ("4,98 V", Metered.FIRST_VOLT, 4.98),
        ("-5.02", Metered.POLARITY, -5.02),
        ("−5.02", Metered.POLARITY, -5.02),
        ("open", Metered.OHMS, None),
        ("OL", Metered.OHMS, None),
        ("1.2 k", Metered.OHMS, 1200.0),
        ("47 ohm", Metered.OHMS, 47.0),
        ("47 Ω", Metered.OHMS, 47.0),
        ("24 mA", Metered.DARK_MA, 24.0),
    ],
)
def test_readings_as_they_are_typed(text: str, what: Metered, value: float | None) -> None:
    found = read_value(what, text)
    assert found == (None if value is None else pytest.approx(value))


@given(st.text(max_size=12), st.sampled_from(list(Metered)))
def test_any_text_is_a_reading_or_refused_in_words(text: str, what: Metered) -> None:
    try:
        value = read_value(what, text)
    except PowerError as error:
        assert "type a number" in str(error)  # noqa: PT017
    else:
        assert value is None or abs(value) <= 1e12


@given(st.floats(min_value=0.0, max_value=19.99))
@example(4.9)
def test_low_ohms_bar_all_that_needs_the_supply_on_until_they_are_good(ohms: float) -> None:
    map_, words = note(after(RIGHT_WAY), POWER, "backbox", Metered.OHMS, f"{ohms:.2f}", TIME)
    assert not words.startswith("good")
    for what in list(Metered)[2:]:
        short = ohms < 2
        assert (barred(map_, "backbox", what) is not None) == (short or what not in OFF)
        light, _ = stage_light(map_, "backbox", what, None)
        assert isinstance(light, Dark)
        if what not in OFF:
            with pytest.raises(PowerError, match="measure that again"):
                note(map_, POWER, "backbox", what, "1", TIME)
    again, _ = note(map_, POWER, "backbox", Metered.OHMS, "2k", TIME)
    assert barred(again, "backbox", Metered.FIRST_VOLT) is None
    assert not isinstance(stage_light(again, "backbox", Metered.FIRST_VOLT, None)[0], Dark)


def test_a_reading_that_says_stop_bars_all_that_comes_after_until_it_is_taken_again() -> None:
    map_, words = note(after(RIGHT_WAY), POWER, "backbox", Metered.OHMS, "0.4", TIME)
    assert words.startswith("stop: as good as a short")
    for what in list(Metered)[2:]:
        assert barred(map_, "backbox", what) is not None
        with pytest.raises(PowerError, match="first mend what ohms showed"):
            note(map_, POWER, "backbox", what, "1", TIME)
    assert barred(map_, "backbox", Metered.POLARITY) is None
    assert barred(map_, "playfield", Metered.LAST_VOLT) == Awaited(Metered.POLARITY, None), "each chain has its own"
    again, words = note(map_, POWER, "backbox", Metered.OHMS, "open", TIME)
    assert words.startswith("good")
    assert barred(again, "backbox", Metered.FIRST_VOLT) is None
    assert [reading.value for reading in again.meter] == [5.0, 0.4, None]


def test_readings_are_kept_with_date_and_judgement_and_two_of_them_make_the_plan() -> None:
    map_, _ = note(after(RIGHT_WAY, NO_SHORT), POWER, "backbox", Metered.DARK_MA, "16.8", TIME)
    map_, _ = note(map_, POWER, "backbox", Metered.RED_MA, "304.8", TIME)
    found = last_readings(map_, "backbox")[Metered.RED_MA]
    assert (found.value, found.judged, found.time, found.pixels) == (304.8, Judged.GOOD, TIME, 24)
    kind = plan_of(map_).plan.chain("Backbox").kinds[0][0]
    assert kind.idle_a == pytest.approx(0.0007)
    assert kind.channel_a == pytest.approx(0.012)


def test_stages_are_in_the_order_of_danger_and_all_have_words() -> None:
    order = list(STAGES)
    assert order == list(Metered)
    assert order.index(Metered.OHMS) < order.index(Metered.FIRST_VOLT) < order.index(Metered.DARK_MA)
    assert order.index(Metered.DARK_MA) < order.index(Metered.RED_MA) < order.index(Metered.CEILING_MA)
    assert set(UNITS) == set(Metered)


def test_what_a_stage_lights_and_what_keeps_it_dark() -> None:
    """First and last pixel dimly, all red, all white; nothing before the reading that makes it safe, nor after a stop."""
    backbox = DEMO.chain("backbox")
    map_ = DEMO

    def lit(what: Metered, identity: Identity | None = None) -> Light:
        return stage_light(map_, "backbox", what, identity)[0]

    assert [lit(what) for what in Metered] == [Dark()] * len(Metered)
    map_ = after(NO_SHORT)
    assert lit(Metered.FIRST_VOLT) == Dark(), "polarity is not known"
    map_, _ = note(map_, POWER, "backbox", *RIGHT_WAY, TIME)
    assert lit(Metered.FIRST_VOLT) == Pixels.one(backbox.output, 0, DIM)
    assert lit(Metered.LAST_VOLT) == Dark()
    map_, _ = note(map_, POWER, "backbox", Metered.FIRST_VOLT, "4.98", TIME)
    assert lit(Metered.LAST_VOLT) == Pixels.one(backbox.output, backbox.length - 1, DIM)
    assert lit(Metered.RED_MA) == lit(Metered.CEILING_MA) == Dark()
    map_, _ = note(map_, POWER, "backbox", Metered.DARK_MA, "24", TIME)
    assert lit(Metered.RED_MA) == Pixels.run(backbox.output, 0, backbox.length, RED)
    assert lit(Metered.CEILING_MA) == Pixels.run(backbox.output, 0, backbox.length, WHITE)
    for what in (Metered.POLARITY, Metered.OHMS, Metered.FUSE, Metered.DARK_MA):
        assert lit(what) == Dark()
    # the demonstration's ceiling there is 450 mA: 24 x (1 + 20) mA by the board's figures would be dimmed
    dims = SimulatedBoard(BoardConfig(ceiling_ma=503), []).identity()
    assert lit(Metered.RED_MA, dims) == Dark()
    assert "503" in stage_light(map_.model_copy(update={"chains": tuple(
        c.model_copy(update={"ceiling_ma": 9_000}) for c in map_.chains)}), "backbox", Metered.RED_MA, dims)[1]  # fmt: skip
    wide = map_.model_copy(update={"chains": tuple(c.model_copy(update={"ceiling_ma": 504}) for c in map_.chains)})
    full = SimulatedBoard(BoardConfig(ceiling_ma=504), []).identity()
    assert stage_light(wide, "backbox", Metered.RED_MA, full)[0] == Pixels.run(backbox.output, 0, backbox.length, RED)
    map_, _ = note(map_, POWER, "backbox", Metered.RED_MA, "2500", TIME)
    assert lit(Metered.RED_MA) == Dark(), "above the fuse: dark until all dark has been measured again"
    map_, _ = note(map_, POWER, "backbox", Metered.DARK_MA, "24", TIME)
    assert lit(Metered.RED_MA) != Dark()
    map_, _ = note(map_, POWER, "backbox", Metered.FIRST_VOLT, "0.2", TIME)
    assert lit(Metered.FIRST_VOLT) == Dark()
    for what in (Metered.LAST_VOLT, Metered.RED_MA, Metered.CEILING_MA):
        assert lit(what) == Dark()
        assert "stop" in stage_light(map_, "backbox", what, None)[1]


_TEXTS = st.one_of(st.just("open"), st.floats(min_value=-6, max_value=3_000).map(lambda value: f"{value:.2f}"))


@given(st.lists(st.tuples(st.sampled_from(list(Metered)), _TEXTS), max_size=12))
@example([RIGHT_WAY, (Metered.OHMS, "4.9")])
@example([(Metered.POLARITY, "-5.0"), NO_SHORT])
@example([RIGHT_WAY, NO_SHORT, (Metered.FIRST_VOLT, "5.9")])
@example([RIGHT_WAY, NO_SHORT, (Metered.FIRST_VOLT, "5.0"), (Metered.LAST_VOLT, "-0.1")])
@example([NO_SHORT])
def test_whatever_was_read_power_comes_only_after_good_polarity_and_ohms_and_no_stop(
    tried: list[tuple[Metered, str]],
) -> None:
    """No step with the supply on is lit, nor its reading taken, while an earlier reading is missing, doubtful or dangerous."""
    map_ = DEMO
    for what, text in tried:
        try:
            map_, _ = note(map_, POWER, "backbox", what, text, TIME)
        except PowerError:
            continue
    last = {reading.what: reading.judged for reading in map_.meter}
    order = list(Metered)
    for what in set(order) - OFF - {Metered.POLARITY}:
        safe = all(last.get(stage) is Judged.GOOD for stage in SAFE_FIRST)
        stopped = any(last.get(stage) is Judged.STOP for stage in order[: order.index(what)])
        assert (barred(map_, "backbox", what) is None) == (safe and not stopped)
        if stopped or not safe:
            assert isinstance(stage_light(map_, "backbox", what, None)[0], Dark)
            with pytest.raises(PowerError, match=r"measure (that again|polarity|ohms)"):
                note(map_, POWER, "backbox", what, "1", TIME)
