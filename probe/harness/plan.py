"""The electrical view: chains, feeds and supplies in volts, ohms and metres, with nothing left open.

`probe.harness.from_map` makes it from a map's records. Arrays are made on demand, so that numpy is loaded only where
figures are wanted.
"""

from __future__ import annotations

from collections import Counter
from enum import Enum, StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Final, Self

from pydantic import Field, model_validator

from probe.harness.base import Frozen, PowerError
from probe.harness.copper import HOLDER_OHM, PLUGS, PlugRating, WireKind, fuse_ohm
from probe.harness.pixels import PixelKind, pixel_kind

if TYPE_CHECKING:
    from probe.harness.network import Floats


class LoadState(StrEnum):
    """How much light the figures are for."""

    TYPICAL = "typical play"
    CEILING = "at the ceiling"
    FULL_WHITE = "full white"  # a data fault: every channel full, whatever levels and ceiling say


class Measured(Frozen):
    """Two meter readings of `pixels` pixels in A: all dark, and all red at full, which take the place of the catalogue's
    current."""

    dark_a: float = Field(ge=0)
    red_a: float = Field(gt=0)
    pixels: int = Field(ge=1)

    @model_validator(mode="after")
    def _red_is_more(self) -> Self:
        if self.red_a <= self.dark_a:
            raise ValueError("all red must draw more than all dark")
        return self


class CurrentFrom(Enum):
    """Where the current of a pixel comes from, the surest first."""

    CHAIN = "measured in the chain"
    BENCH = "measured on the bench"
    SHEET = "by the sheet"
    ASSUMED = "assumed"


class PixelRun(Frozen):
    """`count` pixels of one kind in a row, and what their places are given at most (0 to 255): `level` on every channel,
    or `colour` (red, green, blue, white), of which a part without a white channel leaves the last out. `measured`: readings
    of their batch on the bench."""

    kind: str
    count: int = Field(default=1, ge=1)
    level: int = Field(default=255, ge=0, le=255)
    colour: tuple[int, int, int, int] | None = None
    measured: Measured | None = None

    @property
    def drawing(self) -> PixelKind:
        """Its kind, with the currents of its batch if those were measured."""
        kind, readings = pixel_kind(self.kind), self.measured
        if readings is None:
            return kind
        each = (readings.red_a - readings.dark_a) / readings.pixels
        return kind.drawing(idle_a=readings.dark_a / readings.pixels, channel_a=each)

    def share(self, kind: PixelKind, ceiling_level: int) -> float:
        """Light current of what is given, of all channels at 255."""
        given = (self.level,) * kind.channels if self.colour is None else self.colour[: kind.channels]
        return sum(min(value, ceiling_level) for value in given) / (255 * kind.channels)


class OddJoint(Frozen):
    """Extra resistance of one joint, between pixel `after_pixel` and the next, in ohm for each wire."""

    after_pixel: int = Field(ge=0)
    plus_ohm: float = Field(default=0.0, ge=0)
    ground_ohm: float = Field(default=0.0, ge=0)


class NamedPixel(Frozen):
    """A pixel and what to call it in the picture."""

    pixel: int = Field(ge=0)
    name: str


class ChainPlan(Frozen):
    """A chain. Lengths are those of the wire, one way: `spacing_m` for all sections alike or `section_m` for each.

    `ground_wire` defaults to `wire`. `joint_ohm` is what the joints of one section add to each wire (2 mohm for a fair
    splice: no source). `plus_cut_after`: the 5 V wire is left open behind these pixels, to keep two supplies apart.
    `ceiling_ma` is the board's ceiling for this output. `data_lead_m` runs from the board to the first pixel.
    """

    name: str
    runs: tuple[PixelRun, ...] = Field(min_length=1)
    wire: WireKind
    ground_wire: WireKind | None = None
    spacing_m: float | None = Field(default=None, ge=0)
    section_m: tuple[float, ...] | None = None
    joint_ohm: float = Field(default=0.002, ge=0)
    odd_joints: tuple[OddJoint, ...] = ()
    plus_cut_after: tuple[int, ...] = ()
    ceiling_ma: int | None = Field(default=None, ge=1)
    data_lead_m: float = Field(default=0.0, ge=0)
    measured: Measured | None = None
    connector: str = ""
    places: tuple[NamedPixel, ...] = ()

    @model_validator(mode="after")
    def _lengths(self) -> Self:
        for run in self.runs:
            pixel_kind(run.kind)
        if self.connector and self.connector not in PLUGS:
            raise ValueError(f"chain {self.name}: plugs {self.connector!r} are not known")
        sections = self.count - 1
        if (self.spacing_m is None) == (self.section_m is None):
            raise ValueError(f"chain {self.name}: give either spacing_m or section_m")
        if self.section_m is not None:
            if len(self.section_m) != sections:
                raise ValueError(
                    f"chain {self.name}: {self.count} pixels need {sections} section lengths, not {len(self.section_m)}"
                )
            if any(length < 0 for length in self.section_m):
                raise ValueError(f"chain {self.name}: a section length is below 0")
        for pixel in (*(j.after_pixel for j in self.odd_joints), *self.plus_cut_after):
            if not 0 <= pixel < sections:
                raise ValueError(f"chain {self.name}: there is no joint after pixel {pixel}")
        for place in self.places:
            if place.pixel >= self.count:
                raise ValueError(f"chain {self.name}: place {place.name!r} is at pixel {place.pixel}, past the end")
        return self

    @cached_property
    def count(self) -> int:
        """Number of pixels."""
        return sum(run.count for run in self.runs)

    @cached_property
    def kinds(self) -> tuple[tuple[PixelKind, int], ...]:
        """(kind, how many) for each run, with the currents that were measured instead of the catalogue's.

        Readings of the chain as it is fitted come before those of a batch on the bench.
        """
        kinds = tuple((run.drawing, run.count) for run in self.runs)
        if self.measured is None:
            return kinds
        # Kinds and batches in one chain keep their proportions.
        share = self.measured.pixels / sum(count for _, count in kinds)
        idle = share * sum(kind.idle_a * count for kind, count in kinds)
        channel = share * sum(kind.channel_a * count for kind, count in kinds)
        dark_a, red_a = self.measured.dark_a, self.measured.red_a
        factors = (dark_a / idle if idle else 1.0, (red_a - dark_a) / channel if channel else 1.0)
        return tuple(
            (kind.drawing(idle_a=kind.idle_a * factors[0], channel_a=kind.channel_a * factors[1]), count)
            for kind, count in kinds
        )

    @property
    def currents_from(self) -> dict[CurrentFrom, int]:
        """How many pixels have their current from where."""
        found: Counter[CurrentFrom] = Counter()
        for run in self.runs:
            if self.measured is not None:
                origin = CurrentFrom.CHAIN
            elif run.measured is not None:
                origin = CurrentFrom.BENCH
            else:
                origin = CurrentFrom.ASSUMED if run.drawing.current_assumed else CurrentFrom.SHEET
            found[origin] += run.count
        return {origin: found[origin] for origin in CurrentFrom if found[origin]}

    @cached_property
    def volts(self) -> str:
        """The supply of its pixels in words: `5 V`."""
        return f"{max(kind.nominal_volt for kind, _ in self.kinds):g} V"

    def shares(self, ceiling_level: int) -> Floats:
        """Light current of what each pixel is given, of full white."""
        import numpy as np

        values = [run.share(kind, ceiling_level) for run, (kind, _) in zip(self.runs, self.kinds, strict=True)]
        return np.repeat(np.array(values), [run.count for run in self.runs])

    def section_lengths_m(self) -> Floats:
        """One-way wire length of every section, n-1."""
        import numpy as np

        if self.section_m is not None:
            return np.array(self.section_m, dtype=np.float64)
        assert self.spacing_m is not None
        return np.full(self.count - 1, self.spacing_m)

    def joint_ohms(self) -> tuple[Floats, Floats]:
        """Joint resistance of every section in the 5 V and in the ground wire, n-1 each."""
        import numpy as np

        plugs = PLUGS[self.connector].contact_ohm if self.connector else 0.0
        plus = np.full(self.count - 1, self.joint_ohm + plugs)
        ground = plus.copy()
        for joint in self.odd_joints:
            plus[joint.after_pixel] += joint.plus_ohm
            ground[joint.after_pixel] += joint.ground_ohm
        return plus, ground

    def per_pixel(self, field: str) -> Floats:
        """A figure of PixelKind for every pixel."""
        import numpy as np

        values = [float(getattr(kind, field)) for kind, _ in self.kinds]
        return np.repeat(np.array(values), [run.count for run in self.runs])


ASSUMED_FUSE_A: Final = 3.0  # the most resistance of the usual ones; taken where no fuse is noted


class FeedPlan(Frozen):
    """A feed: two wires of `length_m` each from a supply to the pads of one pixel.

    `fuse_a`: the fuse in its plus wire; `connector`: its plugs, one contact in each wire. `contact_ohm` and
    `ground_contact_ohm`, where given, take the place of what fuse, holder and plugs are computed to add.
    """

    name: str
    chain: str
    pixel: int = Field(ge=0)
    supply: str
    wire: WireKind
    length_m: float = Field(ge=0)
    fuse_a: float | None = Field(default=None, gt=0)
    connector: str = ""
    contact_ohm: float | None = Field(default=None, ge=0)
    ground_contact_ohm: float | None = Field(default=None, ge=0)

    @property
    def plug(self) -> PlugRating | None:
        """Its plugs, if they are noted. Raises PowerError for unknown ones."""
        if not self.connector:
            return None
        if self.connector not in PLUGS:
            raise PowerError(f"feed {self.name}: plugs {self.connector!r} are not known. Known: {', '.join(PLUGS)}.")
        return PLUGS[self.connector]

    def contacts_ohm(self, ambient_c: float) -> tuple[float, float]:
        """What fuse, holder and plugs add to the plus and to the ground wire."""
        plugs = 0.0 if self.plug is None else self.plug.contact_ohm
        fuse = fuse_ohm(rating_a=self.fuse_a or ASSUMED_FUSE_A, ambient_c=ambient_c) + HOLDER_OHM
        return (
            fuse + plugs if self.contact_ohm is None else self.contact_ohm,
            plugs if self.ground_contact_ohm is None else self.ground_contact_ohm,
        )


class SupplyPlan(Frozen):
    """A supply. `board_a`: current of a board fed from it. `is_usb`: a computer's port."""

    name: str
    volt: float = Field(default=5.0, gt=0)
    rating_a: float | None = Field(default=None, gt=0)
    internal_ohm: float = Field(default=0.0, ge=0)
    board_a: float = Field(default=0.0, ge=0)
    is_usb: bool = False


class GroundJoin(Frozen):
    """A ground wire between two supplies."""

    first: str
    second: str
    wire: WireKind
    length_m: float = Field(ge=0)


class PowerPlan(Frozen):
    """The whole plan.

    ceiling_level: greatest colour value the tool sends anywhere. typical_share: light current in play over that at the
    ceiling (a third: the retailers' "20 of 60 mA on average"). drive_volt: the board's data level. copper_c: the wire's
    temperature when its resistance is computed; ambient_c: under the playfield. frames_per_s: refresh rate wished for.
    """

    chains: tuple[ChainPlan, ...] = Field(min_length=1)
    feeds: tuple[FeedPlan, ...] = ()
    supplies: tuple[SupplyPlan, ...] = Field(min_length=1)
    ground_joins: tuple[GroundJoin, ...] = ()
    ceiling_level: int = Field(default=255, ge=0, le=255)
    typical_share: float = Field(default=1 / 3, ge=0, le=1)
    copper_c: float = Field(default=40.0, ge=-40, le=150)
    ambient_c: float = Field(default=30.0, ge=-40, le=90)
    wires_in_bundle: int = Field(default=2, ge=1)
    drive_volt: float = Field(default=3.3, gt=0)
    frames_per_s: float = Field(default=30.0, gt=0)

    @model_validator(mode="after")
    def _names(self) -> Self:
        for what, names in (
            ("chain", [c.name for c in self.chains]),
            ("feed", [f.name for f in self.feeds]),
            ("supply", [s.name for s in self.supplies]),
        ):
            twice = sorted({n for n in names if names.count(n) > 1})
            if twice:
                raise ValueError(f"two of the same {what} name: {', '.join(twice)}. Rename one.")
        chains, supplies = {c.name: c for c in self.chains}, {s.name for s in self.supplies}
        for feed in self.feeds:
            if feed.chain not in chains:
                raise ValueError(f"feed {feed.name}: no chain {feed.chain!r}. Known: {', '.join(chains)}.")
            if feed.supply not in supplies:
                raise ValueError(f"feed {feed.name}: no supply {feed.supply!r}. Known: {', '.join(sorted(supplies))}.")
            if feed.pixel >= chains[feed.chain].count:
                raise ValueError(
                    f"feed {feed.name}: {feed.chain} ends at pixel {chains[feed.chain].count - 1}, not {feed.pixel}"
                )
        for join in self.ground_joins:
            if not {join.first, join.second} <= supplies:
                raise ValueError(f"ground join {join.first} to {join.second}: no such supply")
        return self

    def chain(self, name: str) -> ChainPlan:
        """The chain of that name. Raises PowerError."""
        for chain in self.chains:
            if chain.name == name:
                return chain
        raise PowerError(f"no chain {name!r} in the plan")

    def supplies_of(self, chain: ChainPlan) -> tuple[SupplyPlan, ...]:
        """The supplies that feed a chain."""
        names = {feed.supply for feed in self.feeds if feed.chain == chain.name}
        return tuple(supply for supply in self.supplies if supply.name in names)

    def one_way_ohm_per_m(self, wire: WireKind) -> float:
        """One metre of one conductor at the plan's copper temperature."""
        return wire.one_way_resistance_ohm_per_m(temperature_c=self.copper_c)

    def light_a(self, chain: ChainPlan, state: LoadState) -> Floats:
        """Light current of every pixel (idle excluded), A.

        At the ceiling every channel is at min(what its place is given, ceiling level); if the sum then exceeds the output's
        ceiling all are dimmed alike, as the tool will do. Typical play is `typical_share` of that. Full white is a data
        fault: nothing that places are given counts.
        """
        full = chain.per_pixel("light_a")
        if state is LoadState.FULL_WHITE:
            return full
        light: Floats = full * chain.shares(self.ceiling_level)
        if chain.ceiling_ma is not None:
            left = max(0.0, chain.ceiling_ma / 1000 - float(chain.per_pixel("idle_a").sum()))
            if light.sum() > left:
                light = light * (left / float(light.sum()))
        return light * self.typical_share if state is LoadState.TYPICAL else light
