"""Copper wire: diameter, area and resistance.

A name with `one_way` is one conductor; a name with `loop` is out and back (both conductors). Nothing here doubles a
length silently.

Sources
 [1] ASTM B258-02: AWG diameters, d = 0.127 mm x 92^((36-n)/39).
 [2] IEC 60028:1925 (International Annealed Copper Standard): 1.7241e-8 ohm m at 20 C, alpha 0.00393 /K.
 [3] IEC 60228: largest resistance of plain copper conductors at 20 C; DIN VDE 0295 class 5 for the small sizes.
 [4] NEC chapter 9 table 8: stranded conductors are about 2 % above solid ones (the lay of the strands).
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Final, Self

from pydantic import Field, model_validator

from probe.harness.base import Frozen, PowerError, require_positive

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


class Wire(Frozen):
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
