"""How much current a wire may carry (guidance) and how warm it gets (an estimate).

Every current here is GUIDANCE: no table knows the bundle, the wood and the dust of a given machine. A maker's rating or
a local rule goes before it.

Sources
 [1] HyperPhysics "Common Wire Gauges" (after Floyd, Electric Circuit Fundamentals): "chassis wiring" amperes.
 [2] The 700 circular mils per ampere rule (meters.co.uk, "power transmission" column): a very cautious figure.
 [3] Half of [1] for wires bundled on wood: common practice, no source. It agrees with 3 A on 22 AWG and 5 A on 20 AWG
     as usually fused in the trade.
 [4] Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1049: free convection around a horizontal cylinder (formula
     from memory).
 [5] Stefan-Boltzmann law, 5.670374e-8 W/m²K⁴, emissivity 0.9 of coloured insulation (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from probe.harness.base import PowerError, require_not_negative, require_positive
from probe.harness.wire import COPPER_ALPHA_PER_K, STRANDED_FACTOR, Wire, equivalent_awg, one_way_ohm_per_m

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
    """Guidance currents [1][2][3]; between listed gauges the chassis figure is interpolated on log scales.

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


def wire_rating_a(wire: Wire) -> float:
    """The maker's rating in A if given, else the bundled guidance [3]. Raises PowerError where neither exists."""
    if wire.rating_a is not None:
        return wire.rating_a
    if wire.one_way_ohm_per_m is not None:
        raise PowerError(f"wire {wire.name} is known by its resistance only: enter the maker's rating_a.")
    return ampacity_guidance(copper_mm2=wire.copper_mm2).bundled_a


def nusselt_horizontal_cylinder(*, rayleigh: float, prandtl: float) -> float:
    """Mean Nusselt number {0.60 + 0.387 Ra^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27)}², for 1e-5 < Ra < 1e12 [4]."""
    root = 0.60 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    return float(root * root)


def surface_watt_per_m(*, diameter_mm: float, surface_c: float, ambient_c: float) -> float:
    """Heat in W lost by one metre of horizontal cylinder in still air: free convection [4] plus radiation [5].

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

    Balance: n I² R(T) = heat lost by the bundle's surface, solved by bisection. A bundle of n equally loaded wires is
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
    while high - low > 1e-6:
        middle = (low + high) / 2
        if surplus(middle) > 0:
            low = middle
        else:
            high = middle
    return low if current_a == 0 else (low + high) / 2
