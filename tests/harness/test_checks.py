"""Where each finding begins: a figure just inside its limit is silent, just outside it is told."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from probe.harness.checks import PowerFinding, Weight, findings, fitted_fuse
from probe.harness.copper import WireKind
from probe.harness.plan import ChainPlan, FeedPlan, LoadState, PixelRun, PowerPlan, SupplyPlan
from probe.harness.report import FeedReport, JointLoss, PowerReport, report


@cache
def sound(*, volt: float = 5.0, rating_a: float | None = None, is_usb: bool = False) -> PowerReport:
    """A short chain of 5 V pixels on one supply, with nothing to find but what its sheet leaves open."""
    return report(
        PowerPlan(
            chains=(
                ChainPlan(
                    name="reef", runs=(PixelRun(kind="SK6812", count=10),), wire=WireKind(awg=20), spacing_m=0.05,
                    ceiling_ma=300,
                ),
            ),
            feeds=(FeedPlan(name="end", chain="reef", pixel=0, supply="main", wire=WireKind(awg=18), length_m=0.3),),
            supplies=(SupplyPlan(name="main", volt=volt, rating_a=rating_a, is_usb=is_usb),),
            drive_volt=5.0,
        )
    )  # fmt: skip


def told(figures: PowerReport) -> dict[str, Weight]:
    return {finding.code: finding.weight for finding in findings(figures) if finding.code != "assumed"}


def with_supply(figures: PowerReport, **changes: Any) -> PowerReport:
    return replace(figures, supplies=(replace(figures.supplies[0], **changes),))


def with_volts(state: LoadState, volt: float) -> PowerReport:
    """The sound plan with its last pixel at `volt` in one load state."""
    figures = sound()
    old = figures.state(state)
    chain = old.chains[0]
    changed = replace(old, chains=(replace(chain, volt=np.append(chain.volt[:-1], volt)),))
    return replace(figures, states={**figures.states, state: changed})


def test_a_sound_plan_has_nothing_to_find() -> None:
    assert told(sound()) == {}


@pytest.mark.parametrize(
    ("volt", "expected"),
    [
        (4.499, {"too-low": Weight.STOP}),
        (4.5, {"near-line": Weight.WARNING}),
        (4.699, {"near-line": Weight.WARNING}),
        (4.7, {}),
    ],
)
def test_the_line_and_the_room_above_it(volt: float, expected: dict[str, Weight]) -> None:
    """4.5 V is the sheets' least test voltage; 4.7 V the usual warning."""
    assert told(with_volts(LoadState.CEILING, volt)) == expected


def test_full_white_below_the_line_is_a_note() -> None:
    assert told(with_volts(LoadState.FULL_WHITE, 4.499)) == {"low-at-white": Weight.NOTE}
    assert told(with_volts(LoadState.FULL_WHITE, 4.5)) == {}


def test_current_into_a_supply_and_usb() -> None:
    """A port gives 0.5 A after set-up; a milliampere into a supply is rounding, more is another supply."""
    assert told(with_supply(sound(), planned_a=-0.001)) == {}
    assert told(with_supply(sound(), planned_a=-0.0011)) == {"fed-backwards": Weight.STOP}
    assert told(with_supply(sound(is_usb=True), planned_a=0.5)) == {}
    assert told(with_supply(sound(is_usb=True), planned_a=0.501)) == {"usb-overload": Weight.STOP}


def test_supplies_at_80_and_100_percent() -> None:
    """NEC 210.20(A) the other way round: load at most 80 %."""
    figures = with_supply(sound(rating_a=5.0), fault_a=3.0)
    assert told(with_supply(figures, load_share=0.8)) == {}
    assert told(with_supply(figures, load_share=0.801)) == {"supply-above-80": Weight.WARNING}
    assert told(with_supply(figures, load_share=1.0)) == {"supply-above-80": Weight.WARNING}
    assert told(with_supply(figures, load_share=1.001)) == {"supply-overload": Weight.STOP}
    assert told(with_supply(figures, planned_a=4.0, fault_a=5.0)) == {}
    assert told(with_supply(figures, planned_a=4.0, fault_a=5.01)) == {"supply-at-fault": Weight.NOTE}
    over = with_supply(figures, planned_a=5.2, fault_a=6.0, load_share=1.04)
    assert told(over) == {"supply-overload": Weight.STOP}, "the ceiling does not keep clear of that"
    assert told(with_supply(sound(), size_a=None)) == {"supply-too-big": Weight.WARNING}


@pytest.mark.parametrize(
    ("volt", "expected"), [(5.5, {}), (5.51, {"volts-too-high": Weight.STOP}), (4.49, {"volts-too-low": Weight.STOP})]
)
def test_volts_that_the_pixels_take(volt: float, expected: dict[str, Weight]) -> None:
    """SK6812 sheet: 3.5 to 5.5 V; the line to plan with is 4.5 V."""
    found = told(sound(volt=volt))
    found.pop("data-level", None)
    found.pop("too-low", None)
    assert found == expected


def test_a_bad_joint_loses_more_than_a_tenth_of_a_volt() -> None:
    """The trade's mark of a bad joint under load."""
    figures = sound()
    ceiling = figures.state(LoadState.CEILING)
    for volt, expected in ((0.1, {}), (0.101, {"bad-joint": Weight.WARNING})):
        worst = JointLoss(chain="reef", after_pixel=3, joint_volt=volt, joint_watt=0.2, section_volt=volt)
        states = {**figures.states, LoadState.CEILING: replace(ceiling, worst_joint=worst)}
        assert told(replace(figures, states=states)) == expected


def test_wires_are_warm_above_60_degrees() -> None:
    figures = sound()
    for warm, expected in ((60.0, {}), (60.1, {"warm-wire": Weight.WARNING})):
        assert told(replace(figures, chains=(replace(figures.chains[0], hottest_wire_c=warm),))) == expected
        assert told(replace(figures, feeds=(replace(figures.feeds[0], wire_c=warm),))) == expected


def fuse_findings(fuse_a: float | None, **changes: Any) -> list[tuple[str, Weight]]:
    """What is found of a fuse in a feed of 4 A whose thinnest wire is good for 6 A."""
    feed: FeedReport = replace(sound().feeds[0], planned_a=4.0, fault_a=4.5, wire_rating_a=6.0, **changes)
    found = findings(replace(sound(), feeds=(feed,)), fitted={"end": fuse_a})
    assert all(
        isinstance(finding, PowerFinding) and finding.where == "end" for finding in found if finding.code != "assumed"
    )
    return [(finding.code, finding.weight) for finding in found if finding.code.startswith("fuse-")]


@pytest.mark.parametrize(
    ("fuse_a", "expected"),
    [
        (4.999, [("fuse-too-small", Weight.WARNING)]),
        (5.0, []),  # 125 % of the load
        (6.0, []),  # what the wire is good for
        (6.001, [("fuse-too-large", Weight.STOP)]),
        (None, [("fuse-not-noted", Weight.NOTE)]),
    ],
)
def test_the_boundaries_of_a_fitted_fuse(fuse_a: float | None, expected: list[tuple[str, Weight]]) -> None:
    """At least 125 % of the planned load (NEC 210.20(A)); no larger than the thinnest wire can take (the trade's rule)."""
    assert fuse_findings(fuse_a) == expected


def test_a_fuse_before_wire_of_unknown_rating_is_held_against_the_load_only() -> None:
    feed = replace(sound().feeds[0], planned_a=4.0, wire_rating_a=None)
    assert [code for _, code, _ in fitted_fuse(99.0, feed)] == []
    assert [code for _, code, _ in fitted_fuse(4.0, feed)] == ["fuse-too-small"]
