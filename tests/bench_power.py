"""Timing of the power plan: `run` prints figures, nothing is asserted."""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable

from probe.harness.copper import WireKind
from probe.harness.network import Circuit, SolvedCircuit, solve
from probe.harness.plan import ChainPlan, FeedPlan, LoadState, PixelRun, PowerPlan, SupplyPlan
from probe.harness.report import circuit, report, suggest_feed


def plan(*, pixels: int, feeds: int, level: int = 255) -> PowerPlan:
    """One chain of WS2812B with evenly placed feeds from one supply."""
    places = [round(k * (pixels - 1) / max(feeds - 1, 1)) for k in range(feeds)]
    return PowerPlan(
        chains=(
            ChainPlan(
                name="long",
                runs=(PixelRun(kind="WS2812B", count=pixels, level=level),),
                wire=WireKind(awg=20),
                spacing_m=0.02,
            ),
        ),
        feeds=tuple(
            FeedPlan(name=f"feed {k}", chain="long", pixel=place, supply="main", wire=WireKind(awg=16), length_m=1.0)
            for k, place in enumerate(places)
        ),
        supplies=(SupplyPlan(name="main"),),
    )


def _median_ms(work: Callable[[], object], *, rounds: int) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def run(argv: list[str]) -> int:
    """Print the median time of a solve (all regulating, and overloaded), of a whole report and of a suggestion."""
    parser = argparse.ArgumentParser(prog="power", description="timing of the power plan")
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--pixels", type=int, default=10_000)
    parser.add_argument("--feeds", type=int, default=50)
    options = parser.parse_args(argv)
    size = f"{options.pixels} pixels, {options.feeds} feeds"
    normal = plan(pixels=options.pixels, feeds=options.feeds, level=40)
    for name, state in (("at the ceiling", LoadState.CEILING), ("full white, sagging", LoadState.FULL_WHITE)):
        net = circuit(normal, state)

        def once(net: Circuit = net) -> SolvedCircuit:
            return solve(net)

        answer = solve(net)
        below = int((~answer.ladders[0].regulating).sum())
        print(
            f"solve {size}, {name}: {_median_ms(once, rounds=options.rounds):.1f} ms "
            f"({answer.steps} steps, {below} pixels below regulation, lowest {answer.ladders[0].volt.min():.3f} V)"
        )
    print(f"whole report, {size}: {_median_ms(lambda: report(normal), rounds=options.rounds):.1f} ms")
    print(f"one more feed, {size}: {_median_ms(lambda: suggest_feed(normal), rounds=1):.1f} ms")
    home = plan(pixels=150, feeds=3, level=120)
    print(f"whole report, 150 pixels, 3 feeds: {_median_ms(lambda: report(home), rounds=options.rounds):.1f} ms")
    print(f"one more feed, 150 pixels, 3 feeds: {_median_ms(lambda: suggest_feed(home), rounds=3):.1f} ms")
    return 0
