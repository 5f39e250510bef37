"""Pixel figures, frame times, logic levels and USB against data sheets and published examples."""

from __future__ import annotations

import pytest

from probe.harness.base import PowerError
from probe.harness.pixels import (
    PIXEL_KINDS,
    frame_time_s,
    head_reminders,
    largest_chain,
    logic_level,
    pixel_kind,
    usb_alone,
)

V5, OLD, RGBW = PIXEL_KINDS["WS2812B-V5"], PIXEL_KINDS["WS2812B"], PIXEL_KINDS["SK6812-RGBW"]


@pytest.mark.parametrize(
    ("name", "full_ma"),
    # Light only: V5 sheet 12 mA, WS2813 sheet 16 mA, WS2811 sheet 18.5 mA per channel; 20 mA for the WS2812B from memory.
    [("WS2812B-V5", 36), ("WS2813", 48), ("WS2811", 55.5), ("WS2812B", 60)],
)
def test_full_white_light(name: str, full_ma: float) -> None:
    kind = pixel_kind(name)
    assert kind.light_a * 1000 == pytest.approx(full_ma)
    assert 60 * kind.light_a == pytest.approx(0.06 * full_ma)


def test_v5_chain_of_64() -> None:
    """WS2812B V5 sheet: 12 mA a channel, 0.6 mA idle: 2.342 A white, 38 mA dark."""
    assert 64 * V5.full_white_a == pytest.approx(2.342, abs=5e-4)
    assert 64 * V5.idle_a == pytest.approx(0.0384)


@pytest.mark.parametrize(
    ("count", "old_ms", "v5_ms", "rgbw_ms"),
    # N x bits x 1.25 us + latch: 50 us (WS2812B sheet), 280 us (V5 sheet), 80 us and 32 bits (SK6812RGBW sheet).
    [
        (1, 0.080, 0.310, 0.120),
        (60, 1.850, 2.080, 2.480),
        (64, 1.970, 2.200, 2.640),
        (100, 3.050, 3.280, 4.080),
        (144, 4.370, 4.600, 5.840),
        (300, 9.050, 9.280, 12.080),
        (1024, 30.770, 31.000, 41.04),
    ],
)
def test_frame_times(count: int, old_ms: float, v5_ms: float, rgbw_ms: float) -> None:
    for kind, ms in ((OLD, old_ms), (V5, v5_ms), (RGBW, rgbw_ms)):
        assert frame_time_s([(kind, count)]) * 1000 == pytest.approx(ms, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "count"),
    # Sheets of WS2812B, WS2813 and V5: at least 1024 points at 30 frames/s; WS2811: 512 at 400 kb/s, 1024 at 800 kb/s.
    [("WS2812B", 1024), ("WS2813", 1024), ("WS2812B-V5", 1024), ("WS2811", 1024), ("WS2811-slow", 512)],
)
def test_sheets_promise_30_frames(name: str, count: int) -> None:
    kind = pixel_kind(name)
    assert frame_time_s([(kind, count)]) <= 1 / 30
    assert largest_chain(kind, frames_per_s=30) >= count


def test_blog_example_of_80_pixels() -> None:
    """CSDN 127604308: 80 SK6812 x 24 x 1.2 us + 80 us = 2.384 ms (at 1.2 us a bit)."""
    kind = PIXEL_KINDS["SK6812"].model_copy(update={"bit_time_us": 1.2})
    assert frame_time_s([(kind, 80)]) * 1000 == pytest.approx(2.384)


def test_largest_chain() -> None:
    """floor((1/30 - 280 us)/30 us) = 1101, 546 at 60 frames/s."""
    assert largest_chain(V5, frames_per_s=30) == 1101
    assert largest_chain(V5, frames_per_s=60) == 546
    assert largest_chain(V5, frames_per_s=1e6) == 0
    with pytest.raises(PowerError, match="frame rate"):
        largest_chain(V5, frames_per_s=0)


def test_largest_chain_is_the_inverse_of_the_frame_time() -> None:
    for kind in PIXEL_KINDS.values():
        for rate in (24.0, 30.0, 50.0, 60.0, 100.0):
            count = largest_chain(kind, frames_per_s=rate)
            assert frame_time_s([(kind, count)]) <= 1 / rate + 1e-12
            assert frame_time_s([(kind, count + 1)]) > 1 / rate


def test_mixed_chain_adds_bits_and_takes_the_longest_latch() -> None:
    assert frame_time_s([(OLD, 10), (RGBW, 5)]) == pytest.approx((10 * 30 + 5 * 40 + 80) * 1e-6)
    assert frame_time_s([]) == 0


@pytest.mark.parametrize(
    ("name", "supply_volt", "needed", "reads"),
    # WS2812B sheet: 0.7 VDD. V5 sheet: 2.7 V. SK6812 sheet: 3.4 V.
    [
        ("WS2812B", 5.0, 3.5, False),
        ("WS2812B-V5", 5.0, 2.7, True),
        ("SK6812", 5.0, 3.4, False),
        ("WS2812B", 4.5, 3.15, True),
        ("WS2812B", 4.7, 3.29, True),
    ],
)
def test_logic_level(name: str, supply_volt: float, needed: float, reads: bool) -> None:
    level = logic_level(pixel_kind(name), drive_volt=3.3, supply_volt=supply_volt)
    assert level.needed_volt == pytest.approx(needed)
    assert level.reads_high is reads
    assert (level.margin_volt >= 0) is reads
    assert ("too low" in level.advice) is not reads


def test_logic_level_advice() -> None:
    """3.3/0.7 = 4.714 V: the largest pixel supply for 3.3 V data on the older parts; a fixed threshold has none."""
    old = logic_level(OLD, drive_volt=3.3, supply_volt=5.0)
    assert old.largest_supply_volt == pytest.approx(4.714, abs=5e-4)
    assert "4.7 V at most" in old.advice
    assert "buffer" in old.advice
    fixed = logic_level(PIXEL_KINDS["SK6812"], drive_volt=3.3, supply_volt=5.0)
    assert fixed.largest_supply_volt is None
    assert "at most" not in fixed.advice


@pytest.mark.parametrize(("pixels", "level"), [(50, 36), (100, 15), (150, 8), (200, 5), (400, None)])
def test_usb_alone(pixels: int, level: int | None) -> None:
    """450 mA budget, 60 mA board, 16 mA a channel and 1 mA idle: common practice figures, worked out from those four.

    (For 300 pixels the same list says 2; by these figures 2 would draw 473 mA, so the answer here is 1.)
    """
    kind = PIXEL_KINDS["WS2813"].model_copy(update={"idle_a": 0.001})
    assert usb_alone(kind, pixels=pixels).level == level


def test_usb_budget_is_met_and_tight() -> None:
    for kind in PIXEL_KINDS.values():
        for pixels in (1, 10, 50, 100, 300):
            usb = usb_alone(kind, pixels=pixels)
            if not usb.fits:
                assert usb.level is None
                assert kind.nominal_volt == 12
                continue
            if usb.level is None:
                assert 0.060 + pixels * kind.idle_a > 0.45
                continue
            assert 0.060 + pixels * (kind.idle_a + kind.light_a * usb.level / 255) <= 0.45 + 1e-9
            if usb.level < 255:
                assert 0.060 + pixels * (kind.idle_a + kind.light_a * (usb.level + 1) / 255) > 0.45
            assert usb.one_pixel_level is not None
            assert usb.one_pixel_level >= usb.level


def test_usb_start_up_charge() -> None:
    """About 10 uF allowed (colinoflynn.com): 150 pixels with 100 nF are 15 uF, 1000 uF a hundred times the limit."""
    assert usb_alone(OLD, pixels=150).inrush_uf == pytest.approx(15)
    assert not usb_alone(OLD, pixels=150).inrush_ok
    assert usb_alone(OLD, pixels=90).inrush_ok
    assert not usb_alone(OLD, pixels=1, extra_capacitor_uf=1000).inrush_ok


def test_reminders_follow_the_kind() -> None:
    """V5 sheet: no filter capacitor needed; WS2812B sheet: 100 nF per pixel. Never 1000 uF on USB."""
    assert any("100 nF" in r.part for r in head_reminders(OLD))
    assert not any("100 nF" in r.part for r in head_reminders(V5))
    assert any("300 to 500" in r.part for r in head_reminders(V5))
    assert any(r.part.startswith("1000 µF, 6.3 V") for r in head_reminders(OLD))
    assert any(r.part.startswith("1000 µF, 25 V") for r in head_reminders(PIXEL_KINDS["WS2815"]))
    assert not any("1000 µF" in r.part for r in head_reminders(OLD, on_usb=True))
    assert any("buffer" in r.part for r in head_reminders(OLD, data_lead_m=2))


def test_every_kind_hangs_together() -> None:
    for kind in PIXEL_KINDS.values():
        assert kind.dark_volt < kind.regulation_volt <= kind.low_line_volt <= kind.nominal_volt <= kind.highest_volt
        assert kind.low_threshold_volt(supply_volt=kind.nominal_volt) < kind.high_threshold_volt(
            supply_volt=kind.nominal_volt
        )
        assert kind.bits == 8 * kind.channels
        assert kind.source.startswith("[")


def test_unknown_kind_names_the_known() -> None:
    with pytest.raises(PowerError, match="WS2812B-V5"):
        pixel_kind("WS28")
