"""What planning comes to: `run` prints figures, nothing is asserted. Seconds are of the processor. `--quick`: the smaller half."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from probe.document import operations as op
from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, PlayfieldMap, Position
from probe.planning.plan import Improver, Plan, brief_of, fewest_cuts, first_plan, improved_plan, nearest_plan, plan_now
from probe.planning.splice import frontier
from tests.planning.networks import Array, drawn


def _timed(work: Callable[[], object]) -> tuple[object, float]:
    begun = time.process_time()
    result = work()
    return result, time.process_time() - begun


def _kelp() -> None:
    map_ = load_map(demo_map_path())
    for part in ("playfield", "backbox"):
        for tidy in (False, True):
            brief, brief_s = _timed(lambda: brief_of(map_, part, tidy=tidy))  # noqa: B023 it is called at once
            now = plan_now(brief)  # type: ignore[arg-type]
            plan, first_s = _timed(lambda: first_plan(brief))  # type: ignore[arg-type] # noqa: B023
            better, proof_s = _timed(lambda: improved_plan(plan, pieces=2_000))  # type: ignore[arg-type] # noqa: B023
            assert now is not None
            assert isinstance(plan, Plan)
            assert isinstance(better, Plan)
            near = nearest_plan(better.brief)
            print(
                f"Kelp Forest, {part}, {'tidy' if tidy else 'least wire'}: first plan {plan.way_mm:.0f} mm in "
                f"{brief_s + first_s:.2f} s; {better.way_mm:.0f} mm {'proved' if better.proved else 'not proved'} in "
                f"{proof_s:.1f} s; {better.way_mm / now.way_mm:.3f} of the demo's, {better.way_mm / near.way_mm:.3f} of nearest "
                f"each time; {better.visits} times into an area (demo {now.visits}); wire {better.wire_mm:.0f} mm"
            )


def _gaps(*, quick: bool) -> None:
    cases = [(108, 1, 20.0), (200, 1, 60.0), (300, 1, 10.0), (100, 2, 10.0), (100, 4, 10.0)]
    brief = brief_of(load_map(demo_map_path()))
    for seats, chains, limit_s in cases[:1] if quick else cases:
        for seed in (1, 2):
            largest = seats if chains == 1 else int(1.1 * -(-seats // chains))
            network = drawn(seats, chains, seed, largest=largest, one_start=True)
            own = replace(brief, network=network)
            begun = time.process_time()
            improver = Improver(first_plan(own))
            first_s = time.process_time() - begun
            at_ten = 1.0
            while time.process_time() - begun < limit_s and not improver.plan.proved:
                improver.work()
                if time.process_time() - begun < 10 and improver.plan.gap is not None:
                    at_ten = improver.plan.gap
            gap = improver.plan.gap or 0.0
            print(
                f"{seats} seats, {chains} chains, draw {seed}: first plan {first_s:.2f} s; after 10 s within {100 * at_ten:.2f} % "
                f"of the bound; {'proved' if improver.plan.proved else f'within {100 * gap:.2f} %'} after "
                f"{time.process_time() - begun:.1f} s"
            )


def _along(points: Array, missing: Array) -> tuple[PlayfieldMap, list[str]]:
    map_ = op.add_chain(op.new_map("Kelp Forest"), Chain(id="k", name="Kelp", output=0))
    for number, (x, y) in enumerate(points.tolist()):
        map_, place = op.add_place(map_, f"lit {number}", position=Position(x_mm=x, y_mm=y))
        map_ = op.assign_place(map_, "k", number, place.id)
    names = []
    for number, (x, y) in enumerate(missing.tolist()):
        map_, place = op.add_place(map_, f"missing {number}", position=Position(x_mm=x, y_mm=y))
        names.append(place.id)
    return map_, names


def _nearest_and_end(points: Array, missing: Array) -> tuple[float, float]:
    """Wire if each place in turn is spliced beside its nearest pixel, and if all are put at the end, nearest first."""
    line = [point.copy() for point in points]
    nearest = 0.0
    for spot in missing:
        at = min(range(len(line)), key=lambda k: float(np.hypot(*(line[k] - spot))))
        after = line[at + 1] if at + 1 < len(line) else None
        nearest += float(np.hypot(*(line[at] - spot)))
        if after is not None:
            nearest += float(np.hypot(*(after - spot))) - float(np.hypot(*(after - line[at])))
        line.insert(at + 1, spot)
    end, here, left = 0.0, points[-1], [spot.copy() for spot in missing]
    while left:
        k = min(range(len(left)), key=lambda k: float(np.hypot(*(left[k] - here))))
        end += float(np.hypot(*(left[k] - here)))
        here = left.pop(k)
    return nearest, end


def _splices(*, quick: bool) -> None:
    demo = load_map(demo_map_path())
    spots = [p.position for p in (demo.place_of(pixel) for pixel in demo.chain("playfield").pixels) if p and p.position]
    whole = np.array([(spot.x_mm, spot.y_mm) for spot in spots])
    rng = np.random.default_rng(7)
    least, nearest, end = [], [], []
    for _ in range(20 if quick else 200):
        lacking = np.sort(rng.choice(len(whole), 6, replace=False))
        points, missing = np.delete(whole, lacking, axis=0), rng.permutation(whole[lacking])
        map_, names = _along(points, missing)
        least.append(frontier(map_, "k", names)[0].wire_mm)
        one, other = _nearest_and_end(points, missing)
        nearest.append(one)
        end.append(other)
    print(
        f"six splices, {len(least)} draws: least wire {statistics.mean(least):.0f} mm; "
        f"{sum(least) / sum(nearest):.2f} of nearest, {sum(least) / sum(end):.3f} of at the end"
    )
    points = rng.uniform((0, 0), (500, 1_000), (300, 2))
    map_, names = _along(points, rng.uniform((0, 0), (500, 1_000), (6, 2)))
    frontier(map_, "k", names)
    times = [_timed(lambda: frontier(map_, "k", names))[1] for _ in range(5)]
    print(
        f"the whole frontier of six splices at 300 pixels: {1_000 * min(times):.0f} ms, {len(frontier(map_, 'k', names))} ways"
    )


def _strips() -> None:
    brief = brief_of(load_map(demo_map_path()), tidy=False)
    for pitch in (100.0, 120.0, 150.0, 200.0):
        cuts, least, _ = fewest_cuts(brief, pitch_mm=pitch)
        print(f"pixels on a wire of {pitch:.0f} mm pitch: {cuts} cuts, at least {least}")


def run(argv: list[str]) -> None:
    """Print the figures."""
    quick = "--quick" in argv
    _kelp()
    _splices(quick=quick)
    _strips()
    _gaps(quick=quick)
