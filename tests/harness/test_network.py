"""The nodal solution against ngspice, closed forms and general laws of resistive networks."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.harness import network
from probe.harness.base import PowerError
from probe.harness.network import Circuit, FeedTap, Floats, GroundLink, Ladder, PixelLoads, SolvedCircuit, Source
from tests.harness import spice
from tests.support.examples import examples, first_now
from tests.support.tools import MissingToolError


def solve(**parts: Any) -> SolvedCircuit:
    """The solved circuit of these parts."""
    return network.solve(Circuit(**parts))


def pixels(count: int, *, light_a: float | Floats = 0.036, idle_a: float = 0.001) -> PixelLoads:
    return PixelLoads(
        light_a=np.broadcast_to(np.asarray(light_a, dtype=np.float64), (count,)).copy(),
        idle_a=np.full(count, idle_a),
        regulation_volt=np.full(count, 3.7),
        dark_volt=np.full(count, 2.2),
    )


def random_circuit(seed: int, *, heavy: bool) -> dict[str, Any]:
    """Some chains with several feeds, one to three supplies, odd joints, perhaps a cut 5 V wire and ground links."""
    rng = np.random.default_rng(seed)
    chains, supplies = int(rng.integers(1, 4)), int(rng.integers(1, 4))
    ladders, taps = [], []
    for c in range(chains):
        count = int(rng.integers(1, 60))
        light = rng.uniform(0, 0.4 if heavy else 0.012, count)
        loads = pixels(count, light_a=light) if heavy else PixelLoads.constant(light)
        plus, ground = rng.uniform(0.001, 0.03, count - 1), rng.uniform(0.001, 0.03, count - 1)
        feeds = {0, *(int(p) for p in rng.integers(0, count, rng.integers(1, 6)))}
        if count > 10 and rng.random() < 0.4:
            cut = int(rng.integers(1, count - 1))
            plus[cut] = np.inf
            feeds.add(count - 1)
        ladders.append(Ladder(loads=loads, plus_ohm=plus, ground_ohm=ground, name=f"chain {c}"))
        for pixel in sorted(feeds):
            taps.append(
                FeedTap(
                    chain=c,
                    pixel=pixel,
                    supply=int(rng.integers(0, supplies)),
                    plus_ohm=float(rng.uniform(0.005, 0.2)),
                    ground_ohm=float(rng.uniform(0.005, 0.2)),
                )
            )
    sources = [
        Source(
            volt=float(rng.uniform(4.9, 5.2)),
            internal_ohm=float(rng.choice([0.0, 0.01])),
            terminal_load_a=float(rng.uniform(0, 0.2)),
        )
        for _ in range(supplies)
    ]
    links = [GroundLink(first=0, second=k, ohm=float(rng.uniform(0.005, 0.05))) for k in range(1, supplies)]
    return {"ladders": ladders, "taps": taps, "sources": sources, "links": links if rng.random() < 0.5 else []}


@pytest.mark.parametrize("seed", first_now(range(12), now=8))
def test_against_ngspice(seed: int, tmp_path: Path) -> None:
    circuit = random_circuit(seed, heavy=False)
    ours = solve(**circuit)
    theirs = spice.pixel_volts(tmp_path, **circuit)
    for state, volt in zip(ours.ladders, theirs, strict=True):
        assert np.abs(state.volt - volt).max() < 1e-6


@pytest.mark.parametrize("seed", first_now(range(100, 112), now=8))
def test_below_regulation_against_ngspice(seed: int, tmp_path: Path) -> None:
    """Far too much light for the wire: the falling part of the load curve decides the answer."""
    circuit = random_circuit(seed, heavy=True)
    ours = solve(**circuit)
    theirs = spice.pixel_volts(tmp_path, **circuit)
    for state, volt in zip(ours.ladders, theirs, strict=True):
        assert np.abs(state.volt - volt).max() < 1e-6


def test_missing_ngspice_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(MissingToolError, match="ngspice is missing"):
        spice.ngspice_path()


@pytest.mark.parametrize("count", [1, 500, 10_000])
def test_wire_of_no_length_drops_nothing(count: int) -> None:
    """All pixels on one pad: only the feed's 20 mohm count, to a microvolt or so for each ampere."""
    nothing = np.zeros(count - 1)
    ladder = Ladder(loads=pixels(count, light_a=10 / count, idle_a=0), plus_ohm=nothing, ground_ohm=nothing)
    tap = FeedTap(chain=0, pixel=0, supply=0, plus_ohm=0.01, ground_ohm=0.01)
    volt = solve(ladders=[ladder], taps=[tap], sources=[Source(volt=5.0)]).ladders[0].volt
    assert np.abs(volt - 4.8).max() < 1e-6 * max(1, count)


def test_the_heavy_circuits_do_leave_regulation() -> None:
    below = sum(
        not bool(s.regulating.all()) for n in range(100, 112) for s in solve(**random_circuit(n, heavy=True)).ladders
    )
    assert below > 5


@pytest.mark.parametrize("count", [1, 2, 7, 60, 501, 10_000])
@pytest.mark.parametrize("split", [0.1, 0.5])
def test_closed_form_one_end(count: int, split: float) -> None:
    """Equal loads on equal sections from one end: I rs N (N+1)/2."""
    loop = 0.004
    ladder = Ladder(
        loads=PixelLoads.constant(np.full(count, 0.02)),
        plus_ohm=np.full(count - 1, loop * (1 - split)),
        ground_ohm=np.full(count - 1, loop * split),
    )
    tap = FeedTap(chain=0, pixel=0, supply=0, plus_ohm=loop * (1 - split), ground_ohm=loop * split)
    answer = solve(ladders=[ladder], taps=[tap], sources=[Source(volt=5.0)])
    assert 5.0 - answer.ladders[0].volt[-1] == pytest.approx(0.02 * loop * count * (count + 1) / 2, rel=1e-8)
    assert answer.ladders[0].plus_section_a == pytest.approx(-answer.ladders[0].ground_section_a, abs=1e-7)


@pytest.mark.parametrize("count", [1, 2, 7, 60, 501])
def test_closed_form_both_ends(count: int) -> None:
    """Fed at both ends over N+1 sections: largest drop I rs floor((N+1)/2) floor((N+2)/2)/2."""
    one_way = 0.002
    ohm = np.full(count - 1, one_way)
    ladder = Ladder(loads=PixelLoads.constant(np.full(count, 0.02)), plus_ohm=ohm, ground_ohm=ohm)
    taps = [FeedTap(chain=0, pixel=p, supply=0, plus_ohm=one_way, ground_ohm=one_way) for p in (0, count - 1)]
    answer = solve(ladders=[ladder], taps=taps, sources=[Source(volt=5.0)])
    expected = 0.02 * 2 * one_way * ((count + 1) // 2) * ((count + 2) // 2) / 2
    assert 5.0 - answer.ladders[0].volt.min() == pytest.approx(expected, rel=1e-6)


def test_a_second_feed_at_the_far_end_quarters_the_drop() -> None:
    """I R/2 becomes I R/8 with the same copper (poriyaan.in)."""
    ohm = np.full(999, 0.0001)
    ladder = Ladder(loads=PixelLoads.constant(np.full(1000, 0.001)), plus_ohm=ohm, ground_ohm=ohm)
    ends = [FeedTap(chain=0, pixel=p, supply=0, plus_ohm=1e-4, ground_ohm=1e-4) for p in (0, 999)]
    one = solve(ladders=[ladder], taps=ends[:1], sources=[Source(volt=5.0)])
    both = solve(ladders=[ladder], taps=ends, sources=[Source(volt=5.0)])
    assert (5 - one.ladders[0].volt.min()) / (5 - both.ladders[0].volt.min()) == pytest.approx(4.0, rel=5e-3)


def test_superposition() -> None:
    """While everything regulates the drops of two load patterns add up."""
    for seed in range(20):
        circuit = random_circuit(seed, heavy=False)
        quiet = [dataclasses.replace(s, terminal_load_a=0.0) for s in circuit["sources"]]
        rng = np.random.default_rng(seed + 1000)
        first = [rng.uniform(0, 0.02, len(r.loads.light_a)) for r in circuit["ladders"]]
        second = [rng.uniform(0, 0.02, len(r.loads.light_a)) for r in circuit["ladders"]]

        def volts(loads: list[Floats], *, circuit: dict[str, Any] = circuit, sources: list[Source] = quiet) -> Floats:
            ladders = [
                dataclasses.replace(r, loads=PixelLoads.constant(a))
                for r, a in zip(circuit["ladders"], loads, strict=True)
            ]
            answer = solve(ladders=ladders, taps=circuit["taps"], sources=sources, links=circuit["links"])
            return np.concatenate([s.volt for s in answer.ladders])

        empty = volts([np.zeros_like(a) for a in first])
        together = volts([a + b for a, b in zip(first, second, strict=True)])
        assert np.abs((volts(first) - empty) + (volts(second) - empty) - (together - empty)).max() < 1e-9


def one_chain(seed: int, *, heavy: bool, feeds: int) -> dict[str, Any]:
    """One chain on one supply, both rails alike, fed at the head, at the tail too, or at more places."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 60))
    light = rng.uniform(0, 0.4 if heavy else 0.012, count)
    ohm = rng.uniform(0.001, 0.03, count - 1)
    places = [0, count - 1, *(int(p) for p in rng.integers(0, count, 10))][:feeds]
    taps = []
    for place in places:
        lead = float(rng.uniform(0.005, 0.2))
        taps.append(FeedTap(chain=0, pixel=place, supply=0, plus_ohm=lead, ground_ohm=lead))
    loads = pixels(count, light_a=light) if heavy else PixelLoads.constant(light)
    ladder = Ladder(loads=loads, plus_ohm=ohm, ground_ohm=ohm)
    return {"ladders": [ladder], "taps": taps, "sources": [Source(volt=5.0)]}


def lowest(circuit: dict[str, Any]) -> float:
    return float(solve(**circuit).ladders[0].volt.min())


SEED, HEAVY, SHARE = st.integers(0, 10**6), st.booleans(), st.floats(0.05, 0.99)


@settings(max_examples=examples(60), deadline=None)
@given(seed=SEED, heavy=HEAVY, share=SHARE, feeds=st.integers(1, 2), which=st.integers(0, 10**6))
def test_more_copper_in_one_stretch_never_lowers_the_lowest_voltage(
    seed: int, heavy: bool, share: float, feeds: int, which: int
) -> None:
    """Fed at one end or at both. (With a third feed in between a thicker stretch can draw load over to that feed.)"""
    circuit = one_chain(seed, heavy=heavy, feeds=feeds)
    before = lowest(circuit)
    ohm = circuit["ladders"][0].plus_ohm.copy()
    ohm[which % len(ohm)] *= share
    circuit["ladders"] = [dataclasses.replace(circuit["ladders"][0], plus_ohm=ohm, ground_ohm=ohm)]
    assert lowest(circuit) >= before - 1e-8


@settings(max_examples=examples(60), deadline=None)
@given(seed=SEED, heavy=HEAVY, share=SHARE, feeds=st.integers(1, 8))
def test_thicker_wire_throughout_never_lowers_any_pixel(seed: int, heavy: bool, share: float, feeds: int) -> None:
    circuit = one_chain(seed, heavy=heavy, feeds=feeds)
    before = solve(**circuit).ladders[0].volt
    ohm = circuit["ladders"][0].plus_ohm * share
    circuit["ladders"] = [dataclasses.replace(circuit["ladders"][0], plus_ohm=ohm, ground_ohm=ohm)]
    circuit["taps"] = [
        dataclasses.replace(t, plus_ohm=t.plus_ohm * share, ground_ohm=t.ground_ohm * share) for t in circuit["taps"]
    ]
    assert (solve(**circuit).ladders[0].volt >= before - 1e-8).all()


@settings(max_examples=examples(60), deadline=None)
@given(seed=SEED, heavy=HEAVY, share=SHARE, feeds=st.integers(1, 8), which=st.integers(0, 10**6))
def test_a_better_or_further_feed_never_lowers_any_pixel(
    seed: int, heavy: bool, share: float, feeds: int, which: int
) -> None:
    circuit = one_chain(seed, heavy=heavy, feeds=feeds)
    before = solve(**circuit).ladders[0].volt
    taps = list(circuit["taps"])
    one = taps[which % len(taps)]
    taps[which % len(taps)] = dataclasses.replace(one, plus_ohm=one.plus_ohm * share, ground_ohm=one.ground_ohm * share)
    assert (solve(**{**circuit, "taps": taps}).ladders[0].volt >= before - 1e-8).all()
    more = [*circuit["taps"], dataclasses.replace(one, pixel=which % len(before))]
    assert (solve(**{**circuit, "taps": more}).ladders[0].volt >= before - 1e-8).all()


@settings(max_examples=examples(40), deadline=None)
@given(half=st.integers(1, 40), light_a=st.floats(0.001, 0.4), data=st.data())
def test_symmetric_chains_give_symmetric_answers(half: int, light_a: float, data: st.DataObject) -> None:
    ohm = np.array(data.draw(st.lists(st.floats(0.001, 0.05), min_size=half, max_size=half)))
    section = np.concatenate((ohm, ohm[::-1]))
    count = len(section) + 1
    ladder = Ladder(loads=pixels(count, light_a=light_a), plus_ohm=section, ground_ohm=section)
    taps = [FeedTap(chain=0, pixel=p, supply=0, plus_ohm=0.02, ground_ohm=0.02) for p in (0, count - 1)]
    volt = solve(ladders=[ladder], taps=taps, sources=[Source(volt=5.0)]).ladders[0].volt
    assert np.abs(volt - volt[::-1]).max() < 1e-9


@settings(max_examples=examples(60), deadline=None)
@given(seed=st.integers(0, 10**6))
def test_power_and_current_balance(seed: int) -> None:
    """What the supplies give is what pixels, wires and terminal loads take; it holds below regulation too."""
    circuit = random_circuit(seed, heavy=True)
    answer = solve(**circuit)
    pixel_a = sum(float(s.current_a.sum()) for s in answer.ladders)
    terminal_a = sum(s.terminal_load_a for s in circuit["sources"])
    assert float(answer.supply_a.sum()) == pytest.approx(pixel_a + terminal_a, abs=1e-6)
    given_w = float(answer.supply_a @ answer.supply_terminal_volt)
    taken_w = sum(float(s.current_a @ s.volt) for s in answer.ladders) + answer.wire_loss_w
    taken_w += sum(
        s.terminal_load_a * float(v) for s, v in zip(circuit["sources"], answer.supply_terminal_volt, strict=True)
    )
    linked = bool(circuit["links"])
    assert given_w >= taken_w - 1e-6
    if not linked:
        assert given_w == pytest.approx(taken_w, abs=1e-6)


@pytest.mark.slow
@settings(max_examples=examples(100), deadline=None)
@given(seed=st.integers(0, 10**6))
def test_it_settles_for_resistances_over_five_decades(seed: int) -> None:
    circuit = random_circuit(seed, heavy=True)
    rng = np.random.default_rng(seed + 5)

    def wild(ohm: Floats) -> Floats:
        return ohm * 10 ** rng.uniform(-3, 2, len(ohm))

    circuit["ladders"] = [
        dataclasses.replace(
            r,
            plus_ohm=wild(r.plus_ohm),
            ground_ohm=wild(r.ground_ohm),
            loads=dataclasses.replace(r.loads, light_a=r.loads.light_a * 10 ** rng.uniform(-2, 1.5)),
        )
        for r in circuit["ladders"]
    ]
    answer = solve(**circuit)
    assert answer.steps < 30
    assert answer.residual_a < 1e-6


def test_load_curve_never_falls() -> None:
    loads = pixels(1, light_a=0.06)
    volts = np.linspace(-1, 6, 701)
    current = np.array([float(loads.current_a(np.array([v]))[0]) for v in volts])
    assert (np.diff(current) >= 0).all()
    assert current[-1] == pytest.approx(0.061)
    assert loads.current_a(np.array([2.2]))[0] == pytest.approx(0.001)
    assert loads.current_a(np.array([0.0]))[0] == 0


def test_a_dead_short_of_light_still_settles() -> None:
    """10 A pixels at the end of thin wire: no negative voltage, no runaway."""
    ohm = np.full(199, 0.05)
    ladder = Ladder(loads=pixels(200, light_a=10.0), plus_ohm=ohm, ground_ohm=ohm)
    answer = solve(
        ladders=[ladder],
        taps=[FeedTap(chain=0, pixel=0, supply=0, plus_ohm=0.1, ground_ohm=0.1)],
        sources=[Source(volt=5)],
    )
    assert answer.residual_a < 1e-9
    assert 0 < answer.ladders[0].volt.min() < 2.3


def test_cut_plus_wire_separates_two_supplies() -> None:
    """5 V cut in the middle, ground through: each supply carries its own half, the ground may share."""
    ohm = np.full(9, 0.01)
    plus = ohm.copy()
    plus[4] = np.inf
    ladder = Ladder(loads=PixelLoads.constant(np.full(10, 0.1)), plus_ohm=plus, ground_ohm=ohm)
    taps = [FeedTap(chain=0, pixel=9 * n, supply=n, plus_ohm=0.01, ground_ohm=0.01) for n in (0, 1)]
    answer = solve(ladders=[ladder], taps=taps, sources=[Source(volt=5.2), Source(volt=4.9)])
    assert answer.supply_a == pytest.approx([0.5, 0.5])
    assert answer.ladders[0].plus_section_a[4] == 0


def test_joined_plus_wire_feeds_the_lower_supply_backwards() -> None:
    ohm = np.full(9, 0.01)
    ladder = Ladder(loads=PixelLoads.constant(np.full(10, 0.1)), plus_ohm=ohm, ground_ohm=ohm)
    taps = [FeedTap(chain=0, pixel=9 * n, supply=n, plus_ohm=0.01, ground_ohm=0.01) for n in (0, 1)]
    answer = solve(ladders=[ladder], taps=taps, sources=[Source(volt=5.2), Source(volt=4.9)])
    assert answer.supply_a[1] < 0


def test_circuits_that_are_none_are_refused() -> None:
    ohm = np.full(9, 0.01)
    ladder = Ladder(loads=pixels(10), plus_ohm=ohm, ground_ohm=ohm, name="left ramp")
    source = Source(volt=5.0)
    tap = FeedTap(chain=0, pixel=0, supply=0, plus_ohm=0.01, ground_ohm=0.01)
    with pytest.raises(PowerError, match="left ramp: pixels 0 to 9 have no feed"):
        solve(ladders=[ladder], taps=[], sources=[source])
    cut = ohm.copy()
    cut[3] = np.inf
    with pytest.raises(PowerError, match="left ramp: pixels 4 to 9 have no feed"):
        solve(ladders=[dataclasses.replace(ladder, plus_ohm=cut)], taps=[tap], sources=[source])
    with pytest.raises(PowerError, match="left ramp: the ground wire is cut"):
        solve(ladders=[dataclasses.replace(ladder, ground_ohm=cut)], taps=[tap], sources=[source])
    with pytest.raises(PowerError, match="left ramp: 10 pixels need 9 plus sections, not 8"):
        solve(ladders=[dataclasses.replace(ladder, plus_ohm=ohm[:8])], taps=[tap], sources=[source])
    with pytest.raises(PowerError, match="feed 0: left ramp has no pixel 10"):
        solve(ladders=[ladder], taps=[dataclasses.replace(tap, pixel=10)], sources=[source])
    with pytest.raises(PowerError, match="feed 0: no such chain or supply"):
        solve(ladders=[ladder], taps=[dataclasses.replace(tap, supply=1)], sources=[source])
    with pytest.raises(PowerError, match="supply 0: volts above 0"):
        solve(ladders=[ladder], taps=[tap], sources=[Source(volt=-5)])
