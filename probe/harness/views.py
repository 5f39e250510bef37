"""The voltage picture of a reckoned map: which names to write, as rows of text and as SVG."""

from __future__ import annotations

from dataclasses import replace

from probe.harness.drawing import svg
from probe.harness.from_map import Reckoned
from probe.harness.picture import AXIS_WIDTH, cells, picture
from probe.harness.plan import LoadState
from probe.harness.profile import Mark, VoltProfile


def profile_of(reckoned: Reckoned, chain_name: str, state: LoadState = LoadState.CEILING) -> VoltProfile:
    """Voltage along a chain, with feeds, and with the place of the lowest pixel named besides the areas.

    Raises ValueError if nothing could be reckoned.
    """
    if reckoned.made is None or reckoned.report is None:
        raise ValueError(reckoned.trouble)
    profile = VoltProfile.of(reckoned.made.plan, reckoned.report, chain=chain_name, state=state)
    number = profile.lowest.pixel
    where = reckoned.made.where(chain_name, number)
    if ", " not in where:
        return profile
    lowest = Mark(pixel=number, name=where.split(", ", 1)[1])
    others = tuple(mark for mark in profile.places if mark.pixel != number)
    return replace(profile, places=(*others, lowest))


def thinned(profile: VoltProfile, *, columns: int) -> VoltProfile:
    """The profile with no more places than fit side by side; the lowest pixel's is kept before all others."""
    count = max(1, len(profile.volt) - 1)
    taken: list[tuple[int, int]] = []
    kept: list[Mark] = []
    lowest = profile.lowest.pixel
    for mark in sorted(profile.places, key=lambda m: (m.pixel != lowest, m.pixel)):
        width = cells(f"|{mark.name}@{mark.pixel}")
        start = min(mark.pixel * (columns - 1) // count, max(0, columns - width))
        end = start + width
        if all(end < other_start or start > other_end for other_start, other_end in taken):
            taken.append((start, end))
            kept.append(mark)
    return replace(profile, places=tuple(sorted(kept, key=lambda m: m.pixel)))


def text_picture(profile: VoltProfile, *, width: int, height: int, ascii_only: bool = False) -> tuple[str, ...]:
    """The picture as lines of text. Raises PowerError below 30 x 8 cells."""
    shown = thinned(profile, columns=width - AXIS_WIDTH)
    return picture(shown, width=width, height=height, ascii_only=ascii_only).lines()


def drawings(reckoned: Reckoned, *, width_px: int = 720, height_px: int = 320) -> tuple[tuple[str, str], ...]:
    """(chain name, SVG to stand within HTML) of each chain at the ceiling, for the printed sheet; none if nothing was reckoned."""
    if reckoned.made is None or reckoned.report is None:
        return ()
    return tuple(
        (chain.name, svg(profile_of(reckoned, chain.name), width_px=width_px, height_px=height_px, inline=True))
        for chain in reckoned.made.plan.chains
    )
