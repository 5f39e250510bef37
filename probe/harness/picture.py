"""Voltage along a chain as rows of characters, for a terminal or plain paper; `probe.export` draws the same on paper.

Below the line a different character is drawn, so that nothing rests on colour. Each row is a tuple of spans with a role;
the screen gives roles a style, a text file joins the texts.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby, pairwise
from typing import Final

import numpy as np

from probe.document.outside_text import spaced
from probe.harness.base import PowerError
from probe.harness.from_map import MapPower
from probe.harness.network import Floats
from probe.harness.plan import LoadState, NamedPixel
from probe.harness.report import PowerReport


@dataclass(frozen=True, slots=True)
class VoltProfile:
    """Volts of each pixel of a chain (array of n), the line to stay above, feeds and places to name."""

    title: str
    volt: Floats
    low_line_volt: float
    top_volt: float
    feeds: tuple[NamedPixel, ...] = ()
    places: tuple[NamedPixel, ...] = ()

    def __post_init__(self) -> None:
        if len(self.volt) == 0 or not np.isfinite(self.volt).all():
            raise PowerError(f"{self.title}: there are no voltages to draw.")

    @property
    def lowest(self) -> NamedPixel:
        """The pixel with the least voltage, named by its volts."""
        pixel = int(np.argmin(self.volt))
        return NamedPixel(pixel=pixel, name=f"{self.volt[pixel]:.2f} V")

    @property
    def bounds(self) -> tuple[float, float]:
        """Lowest and highest voltage of the axis: the line, the supply and the curve fit in, with a little air."""
        low = min(float(self.volt.min()), self.low_line_volt)
        high = max(float(self.volt.max()), self.top_volt)
        air = max(0.05 * (high - low), 0.02)
        return low - air, high + air


def profile_of(power: MapPower, chain_name: str, state: LoadState = LoadState.CEILING) -> VoltProfile:
    """Voltage along a chain, with feeds, and with the place of the lowest pixel named besides the areas.

    Raises PowerError if there are no figures.
    """
    if power.solved is None:
        raise PowerError(power.trouble)
    made, report = power.solved
    profile = profile_of_plan(report, chain_name, state)
    number = profile.lowest.pixel
    _, comma, place = made.where(chain_name, number).partition(", ")
    if not comma:
        return profile
    others = tuple(mark for mark in profile.places if mark.pixel != number)
    return replace(profile, places=(*others, NamedPixel(pixel=number, name=place)))


def profile_of_plan(report: PowerReport, chain_name: str, state: LoadState) -> VoltProfile:
    """Voltage along a chain of a plan in one load state, with its feeds and places."""
    plan = report.plan
    chain = plan.chain(chain_name)
    return VoltProfile(
        title=f"{chain_name}, {state}",
        volt=report.state(state).chain(chain_name).volt,
        low_line_volt=max(kind.low_line_volt for kind, _ in chain.kinds),
        top_volt=max(supply.volt for supply in plan.supplies_of(chain)),
        feeds=tuple(NamedPixel(pixel=f.pixel, name=f.name) for f in plan.feeds if f.chain == chain_name),
        places=chain.places,
    )


def thinned(profile: VoltProfile, *, columns: int) -> VoltProfile:
    """The profile with no more places than fit side by side; the lowest pixel's is kept before all others."""
    count = max(1, len(profile.volt) - 1)
    taken: list[tuple[int, int]] = []
    kept: list[NamedPixel] = []
    lowest = profile.lowest.pixel
    for mark in sorted(profile.places, key=lambda map_: (map_.pixel != lowest, map_.pixel)):
        width = cells(f"|{mark.name}@{mark.pixel}")
        start = min(mark.pixel * (columns - 1) // count, max(0, columns - width))
        end = start + width
        if all(end < other_start or start > other_end for other_start, other_end in taken):
            taken.append((start, end))
            kept.append(mark)
    return replace(profile, places=tuple(sorted(kept, key=lambda map_: map_.pixel)))


def text_picture(profile: VoltProfile, *, width: int, height: int, ascii_only: bool = False) -> tuple[str, ...]:
    """The picture as lines of text. Raises PowerError below 30 x 8 cells."""
    shown = thinned(profile, columns=width - AXIS_WIDTH)
    return picture(shown, width=width, height=height, ascii_only=ascii_only).lines()


# -- drawing ------------------------------------------------------------------------------------------------------

SMALLEST_WIDTH: Final = 30
SMALLEST_HEIGHT: Final = 8
AXIS_WIDTH: Final = 7  # "5.00 V" and the axis


class Role(StrEnum):
    """What a span shows."""

    PLAIN = "plain"
    AXIS = "axis"
    LINE = "line"
    ENOUGH = "enough"
    LOW = "low"
    FEED = "feed"
    PLACE = "place"


@dataclass(frozen=True, slots=True)
class Span:
    """A run of characters with one role."""

    text: str
    role: Role


@dataclass(frozen=True, slots=True)
class PictureSigns:
    """Characters used."""

    enough: str
    low: str
    line: str
    axis: str
    corner: str
    base: str
    feed: str
    place: str


UNICODE_SIGNS: Final = PictureSigns(enough="•", low="×", line="┄", axis="┤", corner="└", base="─", feed="▲", place="│")
ASCII_SIGNS: Final = PictureSigns(enough="o", low="x", line="-", axis="|", corner="+", base="-", feed="^", place="|")


@dataclass(frozen=True, slots=True)
class VoltagePicture:
    """Rows of spans, each row `width` cells wide."""

    rows: tuple[tuple[Span, ...], ...]

    def lines(self) -> tuple[str, ...]:
        """The rows as plain text without trailing spaces."""
        return tuple("".join(span.text for span in row).rstrip() for row in self.rows)


def cells(text: str) -> int:
    """Terminal cells `text` takes: wide characters two, combining marks none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in ("W", "F") else 1 for c in text
    )


def _clip(text: str, width: int) -> str:
    """As much of `text` as fits in `width` cells."""
    out, used = "", 0
    for character in text:
        size = cells(character)
        if used + size > width:
            break
        out, used = out + character, used + size
    return out


def picture(profile: VoltProfile, *, width: int, height: int, ascii_only: bool = False) -> VoltagePicture:
    """Draw the profile in `width` x `height` cells.

    From the top: title, plot with the volts on the left and the line drawn across, pixel axis with feed signs, the names
    of feeds, the names of places. In each column stands the lowest voltage of the pixels it covers, so a dip is never
    lost. With `ascii_only` every character is ASCII; others in names become `?`. Raises PowerError below 30 x 8 cells.
    """
    if width < SMALLEST_WIDTH or height < SMALLEST_HEIGHT:
        raise PowerError(
            f"{width} x {height} cells are too few for the voltage picture: {SMALLEST_WIDTH} x {SMALLEST_HEIGHT} needed."
        )
    return _Canvas(profile, width=width, height=height, ascii_only=ascii_only).draw()


class _Canvas:
    def __init__(self, profile: VoltProfile, *, width: int, height: int, ascii_only: bool) -> None:
        self.profile, self.width, self.ascii_only = profile, width, ascii_only
        self.signs = ASCII_SIGNS if ascii_only else UNICODE_SIGNS
        self.columns = width - AXIS_WIDTH
        self.name_rows = (1 if profile.feeds else 0) + (1 if profile.places else 0)
        self.plot_rows = height - 2 - self.name_rows - 1  # title, axis, pixel numbers
        self.low, self.high = profile.bounds
        count = len(profile.volt)
        edges = [k * count // self.columns for k in range(self.columns + 1)]
        if count >= self.columns:
            self.column_volt = [float(profile.volt[a:b].min()) for a, b in pairwise(edges)]
        else:  # fewer pixels than columns: each pixel in its own column, straight lines between them
            at = np.linspace(0, count - 1, self.columns)
            self.column_volt = [float(v) for v in np.interp(at, np.arange(count), profile.volt)]
            for pixel in range(count):
                self.column_volt[self.column(pixel)] = float(profile.volt[pixel])

    def column(self, pixel: int) -> int:
        """Column in which a pixel stands."""
        count = len(self.profile.volt)
        if count >= self.columns:
            return min(
                self.columns - 1, next(c for c in range(self.columns) if pixel < (c + 1) * count // self.columns)
            )
        return 0 if count == 1 else round(pixel * (self.columns - 1) / (count - 1))

    def row(self, volt: float) -> int:
        """Plot row of a voltage, 0 at the top."""
        share = (self.high - volt) / (self.high - self.low)
        return min(self.plot_rows - 1, max(0, int(share * self.plot_rows)))

    def draw(self) -> VoltagePicture:
        rows = [self._title(), *self._plot(), self._base(), self._numbers()]
        if self.profile.feeds:
            rows.append(self._names(self.profile.feeds, Role.FEED, self.signs.feed))
        if self.profile.places:
            rows.append(self._names(self.profile.places, Role.PLACE, self.signs.place))
        return VoltagePicture(rows=tuple(rows))

    def _text(self, text: str) -> str:
        text = spaced(text).strip()
        if self.ascii_only:
            text = "".join(c if c.isascii() else "?" for c in text)
        return text

    def _title(self) -> tuple[Span, ...]:
        lowest = self.profile.lowest
        fact = f"lowest {lowest.name} at pixel {lowest.pixel}"
        if float(self.profile.volt.min()) < self.profile.low_line_volt:
            fact += f", below {self.profile.low_line_volt:g} V"
        fact = _clip(fact, self.width)
        title = _clip(self._text(self.profile.title), max(0, self.width - cells(fact) - 2))
        gap = " " * (self.width - cells(title) - cells(fact))
        role = Role.LOW if "below" in fact else Role.ENOUGH
        return (Span(title + gap, Role.PLAIN), Span(fact, role))

    def _plot(self) -> list[tuple[Span, ...]]:
        line_row, line_volt = self.row(self.profile.low_line_volt), self.profile.low_line_volt
        labels = {0: self.high, self.plot_rows - 1: self.low, self.row(self.profile.top_volt): self.profile.top_volt}
        labels[line_row] = line_volt
        rows = []
        for r in range(self.plot_rows):
            label = f"{labels[r]:.2f}" if r in labels else ""
            axis = Span(f"{label:>5} {self.signs.axis}", Role.LINE if r == line_row else Role.AXIS)
            marks: list[tuple[str, Role]] = []
            for volt in self.column_volt:
                if self.row(volt) == r:
                    low = volt < line_volt
                    marks.append((self.signs.low, Role.LOW) if low else (self.signs.enough, Role.ENOUGH))
                else:
                    marks.append((self.signs.line, Role.LINE) if r == line_row else (" ", Role.PLAIN))
            rows.append((axis, *_spans(marks)))
        return rows

    def _base(self) -> tuple[Span, ...]:
        marks = [(self.signs.base, Role.AXIS)] * self.columns
        for mark in self.profile.feeds:
            marks[self.column(mark.pixel)] = (self.signs.feed, Role.FEED)
        return (Span(f"{'V':>5} {self.signs.corner}", Role.AXIS), *_spans(marks))

    def _numbers(self) -> tuple[Span, ...]:
        first, last = "0", str(len(self.profile.volt) - 1)
        body = first.ljust(self.columns) if len(self.profile.volt) == 1 else first + last.rjust(self.columns - 1)
        return (Span("pixel ".rjust(AXIS_WIDTH), Role.AXIS), Span(body, Role.AXIS))

    def _names(self, marks: tuple[NamedPixel, ...], role: Role, sign: str) -> tuple[Span, ...]:
        """Names from left to right under their pixels; what would overlap is moved right, then counted as `+n`."""
        body, used, left_out = "", 0, 0
        wanted = sorted(marks, key=lambda mark: mark.pixel)
        for k, mark in enumerate(wanted):
            text = f"{sign}{self._text(mark.name)}@{mark.pixel}"
            rest = len(wanted) - k - 1
            room = self.columns - (len(f" +{rest + 1}") if rest else 0)
            start = max(used + (1 if used else 0), min(self.column(mark.pixel), room - cells(text)))
            if start + cells(text) > room:
                if k == 0:
                    text = _clip(text, room)
                    start = 0
                else:
                    left_out = rest + 1
                    break
            body += " " * (start - used) + text
            used = start + cells(text)
        if left_out:
            body += f" +{left_out}"
            used = cells(body)
        label = "feed" if role is Role.FEED else "place"
        return (Span(f"{label} ".rjust(AXIS_WIDTH), Role.AXIS), Span(body + " " * (self.columns - used), role))


def _spans(marks: list[tuple[str, Role]]) -> tuple[Span, ...]:
    """Neighbouring characters of one role joined."""
    return tuple(Span("".join(c for c, _ in run), role) for role, run in groupby(marks, key=lambda mark: mark[1]))
