"""Voltage along a chain as an SVG 1.1 document, for the printed sheet.

Black on white, with dashes, shapes and words: it reads on any printer. Text from outside is cleaned and escaped.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from probe.document.outside_text import spaced
from probe.harness.base import PowerError
from probe.harness.from_map import MapPower
from probe.harness.picture import VoltProfile, cells, profile_of
from probe.harness.plan import NamedPixel

LEFT, RIGHT, TOP = 56.0, 16.0, 40.0
ROW: Final = 15.0
CHARACTER: Final = 6.6  # width of a character at font size 11, roughly
MOST_POINTS: Final = 1500
HALO: Final = 'stroke="#ffffff" stroke-width="4" paint-order="stroke"'  # keeps words readable over lines


def drawings(power: MapPower, *, width_px: int = 720, height_px: int = 320) -> tuple[tuple[str, str], ...]:
    """(chain name, SVG to stand within HTML) of each chain at the ceiling, for the printed sheet; none without figures."""
    if power.solved is None:
        return ()
    return tuple(
        (chain.name, svg(profile_of(power, chain.name), width_px=width_px, height_px=height_px, inline=True))
        for chain in power.solved[0].plan.chains
    )


def svg(profile: VoltProfile, *, width_px: int = 720, height_px: int = 320, inline: bool = False) -> str:
    """The profile as a complete SVG document; `inline`: to stand within HTML. Raises PowerError below 240 x 180 px.

    Chains longer than 1500 pixels are drawn by the lowest voltage of each group, so a dip is never lost.
    """
    if width_px < 240 or height_px < 180:
        raise PowerError(f"{width_px} x {height_px} px are too few for the voltage drawing: 240 x 180 needed.")
    return _Sheet(profile, width=float(width_px), height=float(height_px)).document(inline=inline)


def _text(text: str) -> str:
    return escape(spaced(text).strip())


class _Sheet:
    def __init__(self, profile: VoltProfile, *, width: float, height: float) -> None:
        self.profile, self.width, self.height = profile, width, height
        self.low, self.high = profile.bounds
        self.count = len(profile.volt)
        self.label_rows = self._label_rows()
        # Names below the plot never take more than half the drawing.
        self.bottom = height - 34 - ROW * min(len(self.label_rows), int((height / 2 - 34) / ROW))
        self.labels = self.label_rows[: int((height - self.bottom - 34) / ROW + 0.01)]

    def x(self, pixel: float) -> float:
        inner = self.width - LEFT - RIGHT
        return LEFT + (inner / 2 if self.count == 1 else inner * pixel / (self.count - 1))

    def y(self, volt: float) -> float:
        return TOP + (self.high - volt) / (self.high - self.low) * (self.bottom - TOP)

    def document(self, *, inline: bool) -> str:
        title = _text(self.profile.title)
        parts = [
            *([] if inline else ['<?xml version="1.0" encoding="UTF-8"?>']),
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{self.width:g}" height="{self.height:g}" '
            f'viewBox="0 0 {self.width:g} {self.height:g}" font-family="sans-serif" font-size="11">',
            f"<title>{title}</title>",
            f'<rect width="{self.width:g}" height="{self.height:g}" fill="#ffffff"/>',
            f'<text x="{LEFT:g}" y="18" font-size="14">{title}</text>',
            *self._axes(),
            self._curve(),
            *self._line(),
            *self._lowest(),
            *self._marks(),
            "</svg>",
        ]
        return "\n".join(parts) + "\n"

    def _axes(self) -> list[str]:
        parts = [
            f'<path d="M{LEFT:g},{TOP:g} V{self.bottom:.1f} H{self.width - RIGHT:g}" fill="none" stroke="#000000"/>'
        ]
        step = next(s for s in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 50.0, 1e3) if (self.high - self.low) / s <= 8)
        for k in range(int(np.ceil(self.low / step)), int(np.floor(self.high / step)) + 1):
            y = self.y(k * step)
            parts.append(f'<path d="M{LEFT - 4:g},{y:.1f} H{LEFT:g}" stroke="#000000"/>')
            parts.append(f'<text x="{LEFT - 6:g}" y="{y + 4:.1f}" text-anchor="end">{k * step:.2f}</text>')
        parts.append(f'<text x="{LEFT - 6:g}" y="{TOP - 8:g}" text-anchor="end">V</text>')
        numbers = (0,) if self.count == 1 else (0, self.count - 1)
        for pixel in numbers:
            parts.append(
                f'<text x="{self.x(pixel):.1f}" y="{self.bottom + 26:.1f}" text-anchor="middle">{pixel}</text>'
            )
        return parts

    def _line(self) -> list[str]:
        y = self.y(self.profile.low_line_volt)
        return [
            f'<path d="M{LEFT:g},{y:.1f} H{self.width - RIGHT:g}" stroke="#000000" stroke-dasharray="6 4"/>',
            f'<text x="{LEFT + 6:g}" y="{y - 5:.1f}" {HALO}>{self.profile.low_line_volt:g} V line</text>',
        ]

    def _curve(self) -> str:
        volt = self.profile.volt
        if self.count > MOST_POINTS:
            edges = np.linspace(0, self.count, MOST_POINTS + 1).astype(int)
            picks = [a + int(np.argmin(volt[a:b])) for a, b in pairwise(edges)]
        else:
            picks = list(range(self.count))
        points = " ".join(f"{self.x(p):.1f},{self.y(float(volt[p])):.1f}" for p in picks)
        return f'<polyline points="{points}" fill="none" stroke="#000000" stroke-width="2"/>'

    def _lowest(self) -> list[str]:
        mark = self.profile.lowest
        x, y = self.x(mark.pixel), self.y(float(self.profile.volt[mark.pixel]))
        low = float(self.profile.volt[mark.pixel]) < self.profile.low_line_volt
        words = f"lowest: {mark.name} at pixel {mark.pixel}" + (" - too low" if low else "")
        anchor = "end" if x > self.width / 2 else "start"
        # The curve lies above its lowest point, so below it is free, if there is room.
        words_y = y + 17 if y + 21 < self.bottom else y - 9
        return [
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#ffffff" stroke="#000000" stroke-width="2"/>',
            f'<text x="{x:.1f}" y="{words_y:.1f}" text-anchor="{anchor}" {HALO}>{_text(words)}</text>',
        ]

    def _label_rows(self) -> list[list[tuple[float, NamedPixel, bool]]]:
        """Names of feeds, then places, spread over rows so that none overlaps."""
        rows: list[list[tuple[float, NamedPixel, bool]]] = []
        for marks, is_feed in ((self.profile.feeds, True), (self.profile.places, False)):
            own: list[list[tuple[float, NamedPixel, bool]]] = []
            ends: list[float] = []
            for mark in sorted(marks, key=lambda mark: mark.pixel):
                length = CHARACTER * (cells(spaced(mark.name).strip()) + len(str(mark.pixel)) + 3)
                x = max(LEFT, min(self.x(mark.pixel), self.width - RIGHT - length))
                row = next((k for k, end in enumerate(ends) if end + 8 <= x), None)
                if row is None:
                    own.append([])
                    ends.append(0.0)
                    row = len(own) - 1
                own[row].append((x, mark, is_feed))
                ends[row] = x + length
            rows += own
        return rows

    def _marks(self) -> list[str]:
        parts = []
        for mark in self.profile.feeds:
            x, y = self.x(mark.pixel), self.bottom
            shape = quoteattr(f"M{x:.1f},{y + 1:.1f} l-5,9 h10 z")
            parts.append(f'<path d={shape} fill="#000000"><title>{_text(mark.name)}</title></path>')
        for mark in self.profile.places:
            x = self.x(mark.pixel)
            parts.append(f'<path d="M{x:.1f},{self.bottom:.1f} v-6" stroke="#000000"/>')
        for k, row in enumerate(self.labels):
            y = self.bottom + 34 + ROW * k + 8
            for x, mark, is_feed in row:
                sign = "▲" if is_feed else "|"
                parts.append(f'<text x="{x:.1f}" y="{y:.1f}">{sign} {_text(mark.name)} @{mark.pixel}</text>')
        left_out = sum(len(row) for row in self.label_rows[len(self.labels) :])
        if left_out:
            parts.append(
                f'<text x="{self.width - RIGHT:g}" y="{self.bottom + 26:.1f}" text-anchor="end">'
                f"{left_out} more names do not fit</text>"
            )
        return parts
