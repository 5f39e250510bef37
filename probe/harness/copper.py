"""Copper: the resistance of a wire, the current it may carry, how warm it gets, and the fuse that protects it.

A name with `one_way` is one conductor; a name with `loop` is out and back (both conductors). Nothing here doubles a
length silently. Every current a wire may carry is GUIDANCE: no table knows the bundle, the wood and the dust of a given
machine. A maker's rating, a local rule and licensed practice go before anything here.

Sources
  [1] ASTM B258-02: AWG diameters, d = 0.127 mm x 92^((36-n)/39).
  [2] IEC 60028:1925 (International Annealed Copper Standard): 1.7241e-8 ohm m at 20 C, alpha 0.00393 /K.
  [3] IEC 60228: largest resistance of plain copper conductors at 20 C; DIN VDE 0295 class 5 for the small sizes.
  [4] NEC chapter 9 table 8: stranded conductors are about 2 % above solid ones (the lay of the strands).
  [5] HyperPhysics "Common Wire Gauges" (after Floyd, Electric Circuit Fundamentals): "chassis wiring" amperes.
  [6] The 700 circular mils per ampere rule (meters.co.uk, "power transmission" column): a very cautious figure.
  [7] Half of [5] for wires bundled on wood: common practice, no source. It agrees with 3 A on 22 AWG and 5 A on 20 AWG
      as usually fused in the trade.
  [8] Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1049: free convection around a horizontal cylinder (formula
      from memory).
  [9] Stefan-Boltzmann law, 5.670374e-8 W/m²K⁴, emissivity 0.9 of coloured insulation (from memory).
 [10] NEC 210.20(A): overcurrent device at least 125 % of the continuous load (Schneider data bulletin); its inverse,
      load at most 80 %, is also the trade's rule for supplies.
 [11] Blade fuse ratings and colours: SAE J1284 as listed by onallcylinders and procarmanuals; 35 and 40 A after
      ISO 8820-3, from memory.
 [12] Common sizes of enclosed supplies: common practice, no source.
 [13] A fuse is no larger than the rating of the thinnest wire behind it; one as large as that rating will do: the
      trade's rule.
  [14] Blade fuses of 2025 sheets, typical cold resistance (a test report that quotes them): 3 A to 30 A; 1, 2 and 4 A from
      memory. At its rated current a fuse drops about 1.4 times that (from memory; 5 A: 128 mV against 89 mV); with the air
      it follows the metal, 0.4 % a kelvin. Its holder adds 2 to 5 mohm (from memory).
  [15] Plugs: 2.5 mm crimp 3 A with 22 AWG (a maker's header sheet); 2.54 mm square pin 2.5 A (agency rating, PS-10-07
      2018); 3.96 mm crimp 10 A with 16 AWG, 7 A in its push-wire version (resellers' guides): 7 A is taken; 3.96 mm
      square pin, as on old lamp boards, 7 A new, burnt ones far less (from memory). A contact: 10 mohm at most when
      new, 20 after the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Self

from pydantic import Field, model_validator

from probe.harness.base import Frozen, PowerError, require_not_negative, require_positive

COPPER_OHM_M_20C: Final = 1.7241e-8
COPPER_ALPHA_PER_K: Final = 0.00393
STRANDED_FACTOR: Final = 1.02
SMALLEST_AWG: Final = 40
LARGEST_AWG: Final = -3  # 4/0


class ConductorClass(StrEnum):
    """IEC 60228 conductor class."""

    SOLID = "1-2"
    FLEXIBLE = "5"


# ohm/km, one conductor, 20 C, plain copper [3]
IEC_60228_MAX_OHM_PER_KM: Final[dict[ConductorClass, dict[float, float]]] = {
    ConductorClass.SOLID: {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61},
    ConductorClass.FLEXIBLE: {
        0.14: 134.0, 0.22: 96.0, 0.25: 76.0, 0.34: 53.0,
        0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95,
    },
}  # fmt: skip


def awg_diameter_mm(*, awg: int) -> float:
    """Bare diameter in mm of a solid AWG conductor [1]; 1/0 is 0, 2/0 is -1, 4/0 is -3.

    Raises PowerError outside 4/0 to 40.
    """
    if not LARGEST_AWG <= awg <= SMALLEST_AWG:
        raise PowerError(
            f"gauge AWG {awg} is outside {LARGEST_AWG} (4/0) to {SMALLEST_AWG}. Give the area in mm² instead."
        )
    return 0.127 * float(92.0 ** ((36 - awg) / 39))


def awg_area_mm2(*, awg: int) -> float:
    """Copper area in mm², pi/4 d² [1]."""
    return math.pi / 4 * awg_diameter_mm(awg=awg) ** 2


def equivalent_awg(*, area_mm2: float) -> float:
    """Gauge, not rounded, with the given copper area: the formula of [1] solved for n."""
    require_positive(area_mm2, what="wire area in mm²")
    diameter_mm = math.sqrt(4 * area_mm2 / math.pi)
    return 36 - 39 * math.log(diameter_mm / 0.127) / math.log(92)


def temperature_factor(*, temperature_c: float, alpha_per_k: float = COPPER_ALPHA_PER_K) -> float:
    """R(T)/R(20 C) = 1 + alpha (T - 20) [2]. IEC 60228's own conversion uses alpha 0.004."""
    factor = 1 + alpha_per_k * (temperature_c - 20)
    if not 0 < factor < math.inf:
        raise PowerError(f"temperature {temperature_c} °C is outside the linear model of copper. Correct the entry.")
    return factor


def one_way_ohm_per_m(*, area_mm2: float, temperature_c: float = 20.0, stranded: bool = False) -> float:
    """Resistance of one metre of one conductor, rho(T)/A [2], times 1.02 if stranded [4]."""
    require_positive(area_mm2, what="wire area in mm²")
    ohm = COPPER_OHM_M_20C / (area_mm2 * 1e-6) * temperature_factor(temperature_c=temperature_c)
    return ohm * STRANDED_FACTOR if stranded else ohm


def iec_one_way_max_ohm_per_m(
    *, area_mm2: float, conductor_class: ConductorClass, temperature_c: float = 20.0
) -> float:
    """Largest permitted resistance of one metre of one conductor [3]. Raises PowerError for a size not listed."""
    table = IEC_60228_MAX_OHM_PER_KM[conductor_class]
    for size, ohm_per_km in table.items():
        if math.isclose(size, area_mm2, rel_tol=1e-9):
            return ohm_per_km / 1000 * temperature_factor(temperature_c=temperature_c)
    raise PowerError(
        f"{area_mm2} mm² is not a listed class {conductor_class} size. Listed: {', '.join(str(s) for s in table)}."
    )


class WireKind(Frozen):
    """A kind of wire: exactly one of gauge, area and measured resistance.

    `one_way_ohm_per_m` is one conductor at 20 C (a strip's rail, or a meter's figure). `rating_a` is the maker's figure
    for this wire where it lies; it takes the place of the guidance. `outside_mm` is the diameter over the insulation.
    """

    awg: int | None = Field(default=None, ge=LARGEST_AWG, le=SMALLEST_AWG)
    area_mm2: float | None = Field(default=None, gt=0)
    one_way_ohm_per_m: float | None = Field(default=None, gt=0)
    stranded: bool = True
    rating_a: float | None = Field(default=None, gt=0)
    outside_mm: float | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        given = [x for x in (self.awg, self.area_mm2, self.one_way_ohm_per_m) if x is not None]
        if len(given) != 1:
            raise ValueError("wire: give exactly one of awg, area_mm2 and one_way_ohm_per_m")
        return self

    @property
    def copper_mm2(self) -> float:
        """Copper area in mm²; for a wire known by its resistance, the area of copper with that resistance."""
        if self.awg is not None:
            return awg_area_mm2(awg=self.awg)
        if self.area_mm2 is not None:
            return self.area_mm2
        assert self.one_way_ohm_per_m is not None
        return COPPER_OHM_M_20C / self.one_way_ohm_per_m * 1e6

    def one_way_resistance_ohm_per_m(self, *, temperature_c: float = 20.0) -> float:
        """One metre of one conductor. A metric size of IEC 60228 has the standard's largest value [3]; any other
        follows rho/A."""
        if self.one_way_ohm_per_m is not None:
            return self.one_way_ohm_per_m * temperature_factor(temperature_c=temperature_c)
        if self.area_mm2 is not None:
            kind = ConductorClass.FLEXIBLE if self.stranded else ConductorClass.SOLID
            if any(math.isclose(size, self.area_mm2, rel_tol=1e-9) for size in IEC_60228_MAX_OHM_PER_KM[kind]):
                return iec_one_way_max_ohm_per_m(
                    area_mm2=self.area_mm2, conductor_class=kind, temperature_c=temperature_c
                )
        return one_way_ohm_per_m(area_mm2=self.copper_mm2, temperature_c=temperature_c, stranded=self.stranded)

    @property
    def name(self) -> str:
        """`22 AWG`, `0.34 mm²` or `61.6 mΩ/m`."""
        if self.awg is not None:
            return f"{self.awg} AWG" if self.awg > 0 else f"{1 - self.awg}/0 AWG"
        if self.area_mm2 is not None:
            return f"{self.area_mm2:g} mm²"
        assert self.one_way_ohm_per_m is not None
        return f"{self.one_way_ohm_per_m * 1000:.3g} mΩ/m"


# -- what a wire may carry, and its heat -------------------------------------------------------------------------

CHASSIS_A_BY_AWG: Final[dict[int, float]] = {
    14: 32.0, 16: 22.0, 18: 16.0, 20: 11.0, 22: 7.0, 24: 3.5, 26: 2.2, 28: 1.4, 30: 0.86,
}  # fmt: skip
CIRCULAR_MILS_PER_A: Final = 700.0
MM2_PER_CIRCULAR_MIL: Final = math.pi / 4 * 0.0254**2
BUNDLED_SHARE: Final = 0.5

STEFAN_BOLTZMANN: Final = 5.670374e-8
EMISSIVITY: Final = 0.9
INSULATION_WALL_MM: Final = 0.4
MODEL_LIMIT_C: Final = 200.0


@dataclass(frozen=True, slots=True)
class AmpacityGuidance:
    """Three views of one wire in A, most cautious first. Guidance, not a rating."""

    cautious_a: float
    bundled_a: float
    chassis_a: float


def ampacity_guidance(*, copper_mm2: float) -> AmpacityGuidance:
    """Guidance currents [5][6][7]; between listed gauges the chassis figure is interpolated on log scales.

    Raises PowerError for wire thinner than 30 AWG or thicker than 14 AWG, for which no figure is at hand.
    """
    gauge = equivalent_awg(area_mm2=copper_mm2)
    sizes = sorted(CHASSIS_A_BY_AWG)
    if not sizes[0] - 1e-6 <= gauge <= sizes[-1] + 1e-6:
        raise PowerError(
            f"no ampacity guidance for {copper_mm2:.3g} mm² (known: 30 to 14 AWG, 0.05 to 2.08 mm²). "
            "Enter the maker's rating_a for this wire."
        )
    gauge = min(max(gauge, sizes[0]), sizes[-1])
    low = max(s for s in sizes if s <= gauge)
    high = min(s for s in sizes if s >= gauge)
    share = 0.0 if low == high else (gauge - low) / (high - low)
    chassis = CHASSIS_A_BY_AWG[low] ** (1 - share) * CHASSIS_A_BY_AWG[high] ** share
    return AmpacityGuidance(
        cautious_a=copper_mm2 / MM2_PER_CIRCULAR_MIL / CIRCULAR_MILS_PER_A,
        bundled_a=BUNDLED_SHARE * chassis,
        chassis_a=chassis,
    )


def wire_rating_a(wire: WireKind) -> float:
    """The maker's rating in A if given, else the bundled guidance [7]. Raises PowerError where neither exists."""
    if wire.rating_a is not None:
        return wire.rating_a
    if wire.one_way_ohm_per_m is not None:
        raise PowerError(f"wire {wire.name} is known by its resistance only: enter the maker's rating_a.")
    return ampacity_guidance(copper_mm2=wire.copper_mm2).bundled_a


def nusselt_horizontal_cylinder(*, rayleigh: float, prandtl: float) -> float:
    """Mean Nusselt number {0.60 + 0.387 Ra^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27)}², for 1e-5 < Ra < 1e12 [8]."""
    root = 0.60 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    return float(root * root)


def surface_watt_per_m(*, diameter_mm: float, surface_c: float, ambient_c: float) -> float:
    """Heat in W lost by one metre of horizontal cylinder in still air: free convection [8] plus radiation [9].

    Air at the mean film temperature T (K): k = 0.0241 (T/273.15)^0.81, nu = 1.32e-5 (T/273.15)^1.75, Pr = 0.71,
    beta = 1/T (fits within 2 % of tables from 0 to 200 C, from memory).
    """
    rise = surface_c - ambient_c
    if rise <= 0:
        return 0.0
    diameter_m = diameter_mm / 1000
    film_k = (surface_c + ambient_c) / 2 + 273.15
    conductivity = 0.0241 * (film_k / 273.15) ** 0.81
    viscosity = 1.32e-5 * (film_k / 273.15) ** 1.75
    prandtl = 0.71
    rayleigh = 9.81 / film_k * rise * diameter_m**3 / viscosity**2 * prandtl
    coefficient = nusselt_horizontal_cylinder(rayleigh=rayleigh, prandtl=prandtl) * conductivity / diameter_m
    radiation = EMISSIVITY * STEFAN_BOLTZMANN * ((surface_c + 273.15) ** 4 - (ambient_c + 273.15) ** 4)
    return float(math.pi * diameter_m * (coefficient * rise + radiation))


def conductor_temperature_c(
    *,
    current_a: float,
    copper_mm2: float,
    ambient_c: float,
    outside_mm: float | None = None,
    wires_in_bundle: int = 1,
    stranded: bool = True,
) -> float:
    """Estimated steady temperature in C of a wire carrying `current_a`.

    Balance: n I² R(T) = heat lost by the bundle's surface, solved for T by halving. A bundle of n equally loaded wires is
    one cylinder of diameter D sqrt(1.3 n), warm right through. Outside diameter defaults to copper plus 0.4 mm of wall.

    Limits: still free air. Under a staple, in foam or in a closed duct it is warmer; the drop through the insulation is
    left out (a few kelvin at most in these sizes). `inf` means above 200 C: out of the model and far out of safe use.
    """
    require_not_negative(current_a, what="current in A")
    require_positive(copper_mm2, what="wire area in mm²")
    if wires_in_bundle < 1:
        raise PowerError(f"wires_in_bundle is {wires_in_bundle}: it must be 1 or more. Correct the entry.")
    diameter_mm = outside_mm or math.sqrt(4 * copper_mm2 / math.pi) + 2 * INSULATION_WALL_MM
    if wires_in_bundle > 1:
        diameter_mm *= math.sqrt(1.3 * wires_in_bundle)
    ohm_20c = one_way_ohm_per_m(area_mm2=copper_mm2) * (STRANDED_FACTOR if stranded else 1)

    def surplus(temperature_c: float) -> float:
        made = wires_in_bundle * current_a**2 * ohm_20c * (1 + COPPER_ALPHA_PER_K * (temperature_c - 20))
        lost = surface_watt_per_m(diameter_mm=diameter_mm, surface_c=temperature_c, ambient_c=ambient_c)
        return made - lost

    low, high = ambient_c, MODEL_LIMIT_C
    if surplus(high) > 0:
        return math.inf
    while current_a and high - low > 1e-6:  # halving: scipy's root finders take longer to load than this to run
        middle = (low + high) / 2
        low, high = (middle, high) if surplus(middle) > 0 else (low, middle)
    return low if current_a == 0 else (low + high) / 2


# -- supplies and fuses ------------------------------------------------------------------------------------------

BLADE_FUSES: Final[dict[float, str]] = {
    0.5: "dark blue", 1.0: "black", 2.0: "grey", 3.0: "violet", 4.0: "pink", 5.0: "tan", 7.5: "brown", 10.0: "red",
    15.0: "blue", 20.0: "yellow", 25.0: "clear", 30.0: "green", 35.0: "blue-green", 40.0: "orange",
}  # fmt: skip
CONTINUOUS_FACTOR: Final = 1.25
LARGEST_LOAD_SHARE: Final = 0.8
FUSE_COLD_OHM: Final[dict[float, float]] = {
    1.0: 0.123, 2.0: 0.0535, 3.0: 0.0311, 4.0: 0.0226, 5.0: 0.01785, 7.5: 0.01091, 10.0: 0.00770, 15.0: 0.00480,
    20.0: 0.00338, 25.0: 0.00252, 30.0: 0.00197, 40.0: 0.0014,
}  # fmt: skip
FUSE_HOT_FACTOR: Final = 1.4
FUSE_PER_K: Final = 0.004
HOLDER_OHM: Final = 0.004
CONTACT_OHM: Final = 0.020
SUPPLY_SIZES_A: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0)


def smallest_supply_a(*, load_a: float) -> float:
    """Rated current a supply needs so that the load is at most 80 % of it [10], A (not rounded to a size)."""
    require_not_negative(load_a, what="load in A")
    return load_a / LARGEST_LOAD_SHARE


def supply_size_a(*, load_a: float) -> float:
    """Smallest common supply [12] with the load at most 80 %. Raises PowerError above the largest."""
    needed = smallest_supply_a(load_a=load_a)
    for size in SUPPLY_SIZES_A:
        if size >= needed * (1 - 1e-9):
            return size
    raise PowerError(
        f"{load_a:.1f} A needs a supply above {SUPPLY_SIZES_A[-1]:g} A. Use several supplies, their plus wires kept apart."
    )


def fuse_ohm(*, rating_a: float, ambient_c: float = 25.0, hot: bool = True) -> float:
    """Resistance of a blade fuse [14]: as warm as its rated current makes it, or cold. Between ratings on log scales."""
    require_positive(rating_a, what="fuse in A")
    sizes = sorted(FUSE_COLD_OHM)
    at = min(max(rating_a, sizes[0]), sizes[-1])
    low, high = max(s for s in sizes if s <= at), min(s for s in sizes if s >= at)
    share = 0.0 if low == high else math.log(at / low) / math.log(high / low)
    cold: float = FUSE_COLD_OHM[low] ** (1 - share) * FUSE_COLD_OHM[high] ** share
    # Outside the table the drop at rated current stays as at its end.
    return cold * at / rating_a * (FUSE_HOT_FACTOR if hot else 1.0) * (1 + FUSE_PER_K * (ambient_c - 25))


@dataclass(frozen=True, slots=True)
class PlugRating:
    """What a kind of plug carries a contact, A, and its resistance a contact, ohm [15]."""

    name: str
    rating_a: float
    contact_ohm: float = CONTACT_OHM


PLUGS: Final[dict[str, PlugRating]] = {
    plug.name: plug
    for plug in (
        PlugRating("2.5 mm crimp", 3.0),
        PlugRating("2.54 mm square pin", 2.5),
        PlugRating("3.96 mm crimp", 7.0),
        PlugRating("3.96 mm square pin", 7.0),
    )
}


class FuseVerdict(StrEnum):
    """What a fuse choice covers."""

    FITS = "fits"  # protects the wire and carries full white
    CEILING_ONLY = "ceiling only"  # protects the wire; full white would open it
    NONE = "none"  # nothing both protects the wire and carries the planned load
    UNKNOWN = "unknown"  # the wire's rating is not known


@dataclass(frozen=True, slots=True)
class FuseChoice:
    """A fuse for one feed: rating in A and blade colour (None if there is none), verdict and the reason in words."""

    rating_a: float | None
    colour: str | None
    verdict: FuseVerdict
    reason: str


def fuse_protects(*, fuse_a: float, wire_rating_a: float) -> bool:
    """Whether a fuse protects wire of that rating [13]."""
    return fuse_a <= wire_rating_a * (1 + 1e-9)


def fuse_carries(*, fuse_a: float, load_a: float) -> bool:
    """Whether a fuse is at least 125 % of a continuous load [10]."""
    return fuse_a >= CONTINUOUS_FACTOR * load_a * (1 - 1e-9)


def choose_fuse(*, planned_a: float, fault_a: float, wire_rating_a: float) -> FuseChoice:
    """Fuse for a feed: wire rating [13] >= fuse [11] >= 1.25 x continuous load [10].

    planned_a: load at the ceiling. fault_a: load with everything full white, at least as much. wire_rating_a: that of
    the thinnest wire behind the fuse. If no size carries 1.25 x fault_a the largest that protects the wire is taken,
    provided it carries 1.25 x planned_a: then wrong data opens the fuse, which is the safe way to fail.
    """
    require_not_negative(planned_a, what="planned load in A")
    require_positive(wire_rating_a, what="wire rating in A")
    fault_a = max(fault_a, planned_a)
    allowed = [rating for rating in BLADE_FUSES if fuse_protects(fuse_a=rating, wire_rating_a=wire_rating_a)]
    wire = f"the thinnest wire behind it is good for {wire_rating_a:.2g} A"
    if not allowed:
        return FuseChoice(
            None, None, FuseVerdict.NONE,
            f"No blade fuse is small enough: {wire}, the smallest fuse is {min(BLADE_FUSES):g} A. Use thicker wire.",
        )  # fmt: skip
    for rating in allowed:
        if fuse_carries(fuse_a=rating, load_a=fault_a):
            return FuseChoice(
                rating, BLADE_FUSES[rating], FuseVerdict.FITS,
                f"{rating:g} A: at least 125 % of {fault_a:.2f} A (all full white), and {wire}.",
            )  # fmt: skip
    rating = allowed[-1]
    if fuse_carries(fuse_a=rating, load_a=planned_a):
        return FuseChoice(
            rating, BLADE_FUSES[rating], FuseVerdict.CEILING_ONLY,
            f"{rating:g} A protects the wire and carries the {planned_a:.2f} A planned. If data goes wrong "
            f"and all light full white ({fault_a:.2f} A) it may open: never put in a larger one. "
            "Thicker wire or one more feed cures it.",
        )  # fmt: skip
    return FuseChoice(
        None, None, FuseVerdict.NONE,
        f"No fuse fits: the planned {planned_a:.2f} A needs {CONTINUOUS_FACTOR * planned_a:.2f} A or more, but {wire}, "
        f"so at most {rating:g} A. Use thicker wire, one more feed, or a lower ceiling.",
    )  # fmt: skip
