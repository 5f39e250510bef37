"""Maps for the worlds of `monte_carlo`: general illumination, readings taken there, and what a change really brings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from device_protocol.lightness import DUTY
from probe.document.lamp_table import light_of
from probe.document.model import Chain, Kind, Pixel, PixelState, Place, PlayfieldMap, Position
from probe.document.model.light import Rating, Reading
from probe.document.operations import new_map
from probe.lighting.evenness import Stop, candela, evenness, lamps_cd, scene
from probe.lighting.optics import DIFFUSER_PASSES
from probe.lighting.suggest import SeatChange, SeatWork, Trim, apply
from tests.lighting.monte_carlo import Floats, World


def some_map(seed: int) -> PlayfieldMap:
    """Seven to eleven places of general illumination under one plastic, some depths noted."""
    rng = np.random.default_rng(seed)
    step = rng.uniform(45, 80)
    count = int(rng.integers(7, 12))
    places = tuple(
        Place(
            id=f"p{n}", label=f"Glow {n}", kind=Kind.GENERAL, level=int(rng.integers(150, 256)),
            position=Position(
                x_mm=float(100 + step * (n % 3) + rng.uniform(-8, 8)), y_mm=float(200 + step * (n // 3) + rng.uniform(-8, 8))
            ),
        )
        for n in range(count)
    )  # fmt: skip
    pixels = tuple(Pixel(id=f"a-{n}", state=PixelState.PLACED, place=f"p{n}") for n in range(count))
    chain = Chain(id="a", name="A", output=0, count=count, pixels=pixels, ceiling_ma=20_000)
    return new_map("Kelp Forest").model_copy(update={"places": places, "chains": (chain,)})


@dataclass
class Case:
    """A map, the world it stands for, and the readings taken there."""

    map: PlayfieldMap
    world: World
    readings: dict[Stop, Reading]

    def uniformity(self, light: Floats) -> float:
        """Emin / Eavg."""
        found = evenness(light.tolist())
        assert found is not None
        return found.uniformity

    def now(self) -> float:
        """As it is."""
        cd = scene(self.map).lamps_cd
        return self.uniformity(self.world.light(cd, cd))

    def after(self, trims: tuple[Trim, ...]) -> float:
        """With trims."""
        here = scene(self.map)
        return self.uniformity(self.world.light(lamps_cd(apply(self.map, trims), here.places), here.lamps_cd))

    def changed(self, change: SeatChange) -> float:
        """With one change of a seat, and the trims that go with it."""
        here, world = scene(self.map), self.world
        before = here.lamps_cd
        at = next(k for k, place in enumerate(here.places) if place.id == change.place)
        lamp, cd = world.lamps[at], lamps_cd(apply(self.map, change.trims), here.places)
        if change.work is SeatWork.PIXEL:
            other = next(k for k, place in enumerate(here.places) if place.id == change.to)
            spots = world.spots
            world.spots = np.vstack([spots, (spots[at] + spots[other]) / 2])
            column = world.column(len(spots), lamp)
            world.spots = spots
            reach = np.column_stack([world.reach, column])
            gains = world.gains
            world.gains = np.append(gains, (gains[at] + gains[other]) / 2)
            assert change.level is not None
            full = candela(light_of(self.map, here.places[at])[1])
            own = reach @ (world.gains * np.append(cd, full * DUTY[change.level] / 255))
            world.gains = gains
            mean = float(np.mean(world.reach @ (gains * before)))
            return self.uniformity(np.asarray((own + world.elsewhere * mean) * world.passes))
        if change.work is SeatWork.DIFFUSER:
            new = replace(lamp, capped=DIFFUSER_PASSES)
        else:
            assert change.depth_mm is not None
            moved = change.depth_mm - here.seats[at].depth_mm
            new = replace(lamp, hole_mm=max(0.0, lamp.hole_mm + moved))
        reach = world.reach.copy()
        reach[:, at] = world.column(at, new)
        return self.uniformity(world.light(cd, before, reach))


def some_case(seed: int, *, by_eye: bool = False, rays: int = 40_000) -> Case:
    """A world read with a meter (8 % off) or rated by eye."""
    map_ = some_map(seed)
    here = scene(map_)
    world = World(np.array([(s.x_mm, s.y_mm) for s in here.seats]), here.points, seed=seed, rays=rays)
    light = world.light(here.lamps_cd, here.lamps_cd) * np.exp(0.08 * world.rng.standard_normal(len(here.stops)))
    readings = {}
    for stop, lux in zip(here.stops, light.tolist(), strict=True):
        share = lux / float(np.mean(light))
        rated = Rating.DARK if share < 0.75 else Rating.HOT if share > 1.35 else Rating.FAIR
        given: dict[str, object] = {"rating": rated} if by_eye else {"value": lux}
        levels = [map_.place_by_id[p].level or 0 for p in stop if p is not None]
        readings[stop] = Reading.model_validate(
            {"round": 1, "place": stop[0], "to": stop[1], "level": levels[0]}
            | ({"to_level": levels[1]} if stop[1] is not None else {}) | given
        )  # fmt: skip
    return Case(map_, world, readings)
