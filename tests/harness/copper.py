"""Resistances as published tables give them, in terms of the product's own functions."""

from __future__ import annotations

from probe.harness.copper import awg_area_mm2, one_way_ohm_per_m


def awg_one_way_ohm_per_m(*, awg: int, temperature_c: float = 20.0, stranded: bool = False) -> float:
    """One metre of one AWG conductor."""
    return one_way_ohm_per_m(area_mm2=awg_area_mm2(awg=awg), temperature_c=temperature_c, stranded=stranded)


def loop_ohm(*, one_way_ohm: float) -> float:
    """Out and back through two equal conductors."""
    return 2 * one_way_ohm
