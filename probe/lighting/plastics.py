"""What colour a pixel's light has, bare and behind an insert's plastic; and which colours can still be told apart there.

Spectra. A diode's light is a Gaussian at its dominant wavelength, so wide as is typical. White of a four-colour part and
the light of a bulb are those of a black body [1]. Plastics let through `leak + (most - leak) / (1 + exp(-(λ - edge) /
width))`, beyond an edge, or below it, or between two. Nobody publishes what old inserts let through: edges, leaks and
greatest shares are JUDGEMENT. An edge that is 15 nm elsewhere, as it may be from maker to maker and with age, changes
green behind amber, or behind yellow, threefold; colours behind a plastic of their own colour by a third.

Sums are taken from 380 to 780 nm in steps of 2 nm, with the CIE 1931 observer as the lobes of [2].

Sources
 [1] Planck's law, c2 = 1.4388e-2 m K (CIE 15).
 [2] Wyman, Sloan, Shirley, JCGT 2(2):1 (2013): a multi-lobe fit, within about 0.01 in x and y; from memory, and
     compared in the tests with the tables of a library.
 [3] Worldsemi WS2812B sheet: 620-625 nm 390-420 mcd, 522-525 nm 660-720 mcd, 465-467 nm 180-200 mcd; middles.
 [4] Widths at half height 20, 34 and 26 nm: Appl. Opt. 55:4456 (2016), abstract: 19.5, 34, 26.
 [5] Signal-light regions of the CIE diagram, aeronautical ground lights, CIE 1983 (Annex 14, appendix 1).
 [6] CIE 15, uniform chromaticity scale 1976.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Final

from device_protocol.values import Colour

Spectrum = tuple[float, ...]
"""Radiant power at `WAVELENGTHS_NM`, any scale."""

WAVELENGTHS_NM: Final = tuple(float(nm) for nm in range(380, 781, 2))

DOMINANT_NM: Final = (622.5, 523.5, 466.0)
HALF_WIDTH_NM: Final = (20.0, 34.0, 26.0)
MILLICANDELA: Final = (405.0, 690.0, 190.0, 1_200.0)
"""Red, green and blue of a common part at full duty [3]; white of a four-colour part from memory."""
WHITE_PART_K: Final = 6_500.0
"""White of a four-colour part: 6000 to 8300 K is the main range of one sheet (SK6812RGBW-BW rev 01)."""
BULB_K: Final = 2_700.0
"""A small bulb at its own voltage, from memory."""

BRIGHT_SHARE, SEEN_SHARE = 0.10, 0.01
"""Of the light of the bare pixel's white at the same level: from here bright, from here dim. Own choice."""
ALIKE_UV: Final = 0.035
"""Colours nearer than that in u'v' [6] are not told apart by their names with minutes between them. Own choice: some
ten times the step seen side by side."""


class Tint(StrEnum):
    """The plastic over a pixel."""

    CLEAR = "clear"
    OPAL = "opal"
    RED = "red"
    AMBER = "amber"
    YELLOW = "yellow"
    GREEN = "green"
    BLUE = "blue"


@dataclass(frozen=True, slots=True)
class Plastic:
    """What a plastic lets through: edges as (nm, width), `most` and `leak` as shares."""

    most: float
    leak: float
    above: tuple[float, float] | None = None
    below: tuple[float, float] | None = None

    def passes(self, nm: float) -> float:
        """Share let through at a wavelength."""
        share = 1.0
        if self.above is not None:
            share /= 1 + math.exp(-(nm - self.above[0]) / self.above[1])
        if self.below is not None:
            share /= 1 + math.exp((nm - self.below[0]) / self.below[1])
        return self.leak + (self.most - self.leak) * share


PLASTICS: Final[Mapping[Tint, Plastic]] = {
    Tint.CLEAR: Plastic(0.92, 0.92),  # clear acrylic: 4 % lost at each surface (a maker's knowledge base)
    Tint.OPAL: Plastic(0.45, 0.45),
    Tint.RED: Plastic(0.60, 0.004, above=(600, 6)),
    Tint.AMBER: Plastic(0.70, 0.006, above=(565, 7)),
    Tint.YELLOW: Plastic(0.75, 0.02, above=(520, 9)),
    Tint.GREEN: Plastic(0.45, 0.01, above=(490, 8), below=(575, 9)),
    Tint.BLUE: Plastic(0.40, 0.008, below=(492, 8)),
}

_TINT_WORDS: Final = {"white": Tint.OPAL, "opaque": Tint.OPAL, "frosted": Tint.OPAL, "orange": Tint.AMBER}


def tint_of(text: str) -> Tint | None:
    """The tint that a lamp list means: `dark red` is red, `white` is opal. None where it names none that is known, or two."""
    words = set(text.casefold().replace("-", " ").replace("/", " ").split())
    found = {tint for tint in Tint if tint.value in words} | {
        tint for word, tint in _TINT_WORDS.items() if word in words
    }
    coloured = found - {Tint.CLEAR, Tint.OPAL}  # "clear red" is red
    found = coloured or found
    return next(iter(found)) if len(found) == 1 else None


# -- light --------------------------------------------------------------------------------------------------------

_LOBES: Final = (  # of x, y and z: height, nm, width below, width above [2]
    ((1.056, 599.8, 37.9, 31.0), (0.362, 442.0, 16.0, 26.7), (-0.065, 501.1, 20.4, 26.2)),
    ((0.821, 568.8, 46.9, 40.5), (0.286, 530.9, 16.3, 31.1)),
    ((1.217, 437.0, 11.8, 36.0), (0.681, 459.0, 26.0, 13.8)),
)


@cache
def _observer() -> tuple[Spectrum, Spectrum, Spectrum]:
    def value(lobes: Sequence[tuple[float, float, float, float]], nm: float) -> float:
        return sum(h * math.exp(-0.5 * ((nm - at) / (low if nm < at else high)) ** 2) for h, at, low, high in lobes)

    x, y, z = (tuple(value(lobes, nm) for nm in WAVELENGTHS_NM) for lobes in _LOBES)
    return x, y, z


@cache
def black_body(kelvin: float) -> Spectrum:
    """Light of a black body [1]. Raises ValueError for a temperature that is none."""
    if not 500 <= kelvin <= 100_000:
        raise ValueError(f"{kelvin} K: 500 to 100000")
    return tuple((nm / 560) ** -5 / math.expm1(1.4388e7 / (nm * kelvin)) for nm in WAVELENGTHS_NM)


@cache
def diode(nm: float, half_width_nm: float) -> Spectrum:
    """Light of a diode: a Gaussian."""
    return tuple(math.exp(-4 * math.log(2) * ((w - nm) / half_width_nm) ** 2) for w in WAVELENGTHS_NM)


def through(light: Spectrum, tint: Tint | None) -> Spectrum:
    """Light behind a plastic; None: bare."""
    if tint is None:
        return light
    plastic = PLASTICS[tint]
    return tuple(power * plastic.passes(nm) for power, nm in zip(light, WAVELENGTHS_NM, strict=True))


def tristimulus(light: Spectrum) -> tuple[float, float, float]:
    """X, Y, Z of a spectrum, on its own scale."""
    x, y, z = (sum(p * c for p, c in zip(light, lobe, strict=True)) for lobe in _observer())
    return x, y, z


@dataclass(frozen=True, slots=True)
class Seen:
    """Light as it is seen. `mcd` straight up, `x` and `y` in the CIE 1931 diagram (nan: no light at all)."""

    mcd: float
    x: float
    y: float

    @property
    def uv(self) -> tuple[float, float]:
        """u', v' [6]."""
        d = -2 * self.x + 12 * self.y + 3
        return 4 * self.x / d, 9 * self.y / d

    @property
    def hue(self) -> str:
        """The name of its colour."""
        return hue_word(self.x, self.y)


@dataclass(frozen=True, slots=True)
class PixelDiodes:
    """The diodes of a pixel: mcd at full duty, dominant wavelengths; the white one's temperature."""

    mcd: tuple[float, float, float, float] = MILLICANDELA
    dominant_nm: tuple[float, float, float] = DOMINANT_NM
    white_k: float = WHITE_PART_K

    def spectra(self) -> tuple[Spectrum, ...]:
        """Spectrum of each diode."""
        coloured = [diode(nm, width) for nm, width in zip(self.dominant_nm, HALF_WIDTH_NM, strict=True)]
        return (*coloured, black_body(self.white_k))


COMMON_PART: Final = PixelDiodes()


@cache
def primaries(part: PixelDiodes = COMMON_PART, tint: Tint | None = None) -> tuple[tuple[float, float, float], ...]:
    """X, Y, Z behind a plastic of each diode at full duty, Y in mcd."""
    found = []
    for light, mcd in zip(part.spectra(), part.mcd, strict=True):
        scale = mcd / tristimulus(light)[1]
        x, y, z = tristimulus(through(light, tint))
        found.append((x * scale, y * scale, z * scale))
    return tuple(found)


def seen(colour: Colour, tint: Tint | None = None, *, part: PixelDiodes = COMMON_PART) -> Seen:
    """A colour (duty 0 to 255 of each diode) behind a plastic. `tint` None: bare."""
    duty = (colour.red, colour.green, colour.blue, colour.white)
    rows = primaries(part, tint)
    x, y, z = (sum(d / 255 * row[k] for d, row in zip(duty, rows, strict=True)) for k in range(3))
    return _seen(x, y, z)


def bulb_seen(tint: Tint | None = None, *, kelvin: float = BULB_K) -> Seen:
    """A bulb behind a plastic; `mcd` is 1000 times the share of its light that is let through."""
    light = black_body(kelvin)
    scale = 1000 / tristimulus(light)[1]
    x, y, z = tristimulus(through(light, tint))
    return _seen(x * scale, y * scale, z * scale)


def _seen(x: float, y: float, z: float) -> Seen:
    total = x + y + z
    return Seen(y, x / total, y / total) if total > 0 else Seen(0.0, math.nan, math.nan)


# -- words --------------------------------------------------------------------------------------------------------

_HUES: Final[tuple[tuple[float, str], ...]] = (  # up to this angle around equal energy in u'v', counted from the bluish red, in degrees
    (-15.0, "pink"), (13.0, "red"), (26.0, "red-orange"), (38.0, "orange"), (58.0, "yellow"), (95.0, "yellow-green"),
    (160.0, "green"), (215.0, "blue-green"), (285.0, "blue"), (325.0, "violet"), (361.0, "pink"),
)  # fmt: skip
_EQUAL_ENERGY: Final = (4 / 19, 9 / 19)
WHITISH_UV: Final = 0.035
WARM_WHITE_UV: Final = 0.08
BLUISH_WHITE_UV: Final = 0.13
"""How far from equal energy light is still called white, towards orange warm white, towards blue bluish white. Own choice:
2700 K lies at 0.074, all three of a common part at full at 0.095."""


def hue_word(x: float, y: float) -> str:
    """A name for a chromaticity: white, warm white, bluish white, or a hue by its angle. Empty for no light.

    Amber is what lies in the yellow of signal lights [5] on its red side.
    """
    if math.isnan(x):
        return ""
    d = -2 * x + 12 * y + 3
    u, v = 4 * x / d - _EQUAL_ENERGY[0], 9 * y / d - _EQUAL_ENERGY[1]
    far = math.hypot(u, v)
    angle = math.degrees(math.atan2(v, u))
    if far <= WHITISH_UV:
        return "white"
    if far <= WARM_WHITE_UV and 20 <= angle <= 70:
        return "warm white"
    if 0.382 <= y < 0.42 and y >= 0.790 - 0.667 * x and y <= x - 0.120:
        return "amber"
    if far <= BLUISH_WHITE_UV and -150 <= angle <= -80:
        return "bluish white"
    angle = angle if angle >= -40 else angle + 360
    return next(name for limit, name in _HUES if angle <= limit)


class Strength(StrEnum):
    """How much of a colour comes through."""

    BRIGHT = "bright"
    DIM = "dim"
    DARK = "as good as dark"


def strength(colour: Colour, tint: Tint | None, *, part: PixelDiodes = COMMON_PART) -> Strength:
    """How bright a colour is behind a plastic, against the bare white (red, green and blue) of the same level."""
    level = max(colour.red, colour.green, colour.blue, colour.white)
    if not level:
        return Strength.DARK
    share = seen(colour, tint, part=part).mcd / (sum(part.mcd[:3]) * level / 255)
    return Strength.BRIGHT if share >= BRIGHT_SHARE else Strength.DIM if share >= SEEN_SHARE else Strength.DARK


@dataclass(frozen=True, slots=True)
class SeenWord:
    """A colour sent, by its word, and what is seen of it."""

    word: str
    seen: Seen
    strength: Strength

    @property
    def words(self) -> str:
        """`red`, `green, dim`, `as good as dark`."""
        if self.strength is Strength.DARK:
            return str(self.strength.value)
        return self.seen.hue + (", dim" if self.strength is Strength.DIM else "")


def seen_words(
    colours: Mapping[str, Colour], tint: Tint | None, *, part: PixelDiodes = COMMON_PART
) -> tuple[tuple[SeenWord, ...], ...]:
    """Colours behind a plastic, in groups: those of one group cannot be told apart there by their names.

    `colours` by word. What is as good as dark is a group of its own. A group of one is a word that survives. A chain of
    neighbours is one group even where its ends differ: a person sees them one after the other.
    """
    found = [SeenWord(w, seen(c, tint, part=part), strength(c, tint, part=part)) for w, c in colours.items()]
    groups: list[list[SeenWord]] = []
    for one in found:
        near = [group for group in groups if any(_alike(one, other) for other in group)]
        groups = [group for group in groups if group not in near] + [[*(w for group in near for w in group), one]]
    order = list(colours)
    for group in groups:
        group.sort(key=lambda w: order.index(w.word))
    return tuple(tuple(group) for group in sorted(groups, key=lambda g: order.index(g[0].word)))


def surviving(colours: Mapping[str, Colour], tint: Tint | None, *, part: PixelDiodes = COMMON_PART) -> frozenset[str]:
    """Words of the colours that keep their name behind a plastic: seen, called so, and like no other of these."""
    alone = (group[0] for group in seen_words(colours, tint, part=part) if len(group) == 1)
    return frozenset(one.word for one in alone if one.strength is not Strength.DARK and one.word in one.seen.hue)


def _alike(one: SeenWord, other: SeenWord) -> bool:
    dark = (one.strength is Strength.DARK, other.strength is Strength.DARK)
    if any(dark):
        return all(dark)
    return math.dist(one.seen.uv, other.seen.uv) < ALIKE_UV


def insert_tint(colours: Iterable[str]) -> Tint | None:
    """The tint of a place by the insert colours of its lamps; None where they say nothing, or disagree."""
    found = {tint for text in colours if (tint := tint_of(text)) is not None}
    return next(iter(found)) if len(found) == 1 else None


# -- whites to be made --------------------------------------------------------------------------------------------

WHITES_K: Final[Mapping[str, float]] = {"candle": 1_900.0, "bulb": BULB_K, "neutral": 4_000.0, "daylight": 6_500.0}
"""Whites by name: that of a black body; daylight is near D65."""
MADE_UV: Final = 0.04
"""How far from a bulb's colour behind the same plastic still passes for it. Own choice."""


def duty_for(x: float, y: float, *, part: PixelDiodes = COMMON_PART) -> Colour | None:
    """The brightest duty of red, green and blue with that chromaticity; None where these three cannot make it.

    The inverse of the primaries: XYZ of the target as a sum of theirs (Cramer's rule).
    """
    rows = primaries(part)[:3]
    target = (x / y, 1.0, (1 - x - y) / y)

    def determinant(a: Sequence[float], b: Sequence[float], c: Sequence[float]) -> float:
        return (
            a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0]) + a[2] * (b[0] * c[1] - b[1] * c[0])
        )

    whole = determinant(*rows)
    parts = [determinant(*(target if k == at else row for k, row in enumerate(rows))) / whole for at in range(3)]
    if min(parts) < -1e-6:
        return None
    red, green, blue = (round(255 * max(0.0, p) / max(parts)) for p in parts)
    return Colour(red, green, blue)


def white_duty(kelvin: float, *, part: PixelDiodes = COMMON_PART) -> Colour:
    """The brightest white of that temperature. Raises ValueError where the part cannot make it."""
    x, y, z = tristimulus(black_body(kelvin))
    found = duty_for(x / (x + y + z), y / (x + y + z), part=part)
    if found is None:
        raise ValueError(f"these three colours make no white of {kelvin:g} K")
    return found


def cannot(colour: Colour, tint: Tint | None, *, part: PixelDiodes = COMMON_PART) -> str:
    """Why this colour behind that plastic is not what a bulb shows there, where no red, green and blue can be; else empty.

    Between the red and the green of a pixel there is no light, and amber plastic shows little else.
    """
    if tint is None or colour.white:
        return ""
    bulb = bulb_seen(tint)
    steps = range(0, 256, 51)
    tried = (seen(Colour(r, g, b), tint, part=part) for r in steps for g in steps for b in steps if r or g or b)
    enough = BRIGHT_SHARE * sum(part.mcd[:3]) * PLASTICS[tint].most * bulb.mcd / 1000
    if any(s.mcd >= enough and math.dist(s.uv, bulb.uv) <= MADE_UV for s in tried):
        return ""
    shown = seen(colour, tint, part=part)
    if shown.hue == bulb.hue:
        return ""
    return (
        f"behind {tint} plastic this shows {shown.hue}, where a bulb shows {bulb.hue}: red, green and blue cannot make it "
        "there; the white of a four-colour pixel can"
    )


def colour_words(colour: Colour, tint: Tint | None = None, *, part: PixelDiodes = COMMON_PART) -> str:
    """A colour in words before numbers: `as a bulb`, `neutral`, `the plastic's own colour`, or its hue."""
    lit = max(colour.red, colour.green, colour.blue, colour.white)
    if not lit:
        return "dark"
    full = Colour(*(round(255 * v / lit) for v in (colour.red, colour.green, colour.blue, colour.white)))
    for name, kelvin in WHITES_K.items():
        white = white_duty(kelvin, part=part)
        if max(abs(a - b) for a, b in zip(_values(full), _values(white), strict=True)) <= 8:
            return "as a bulb" if name == "bulb" else "as a candle" if name == "candle" else name
    bare = seen(full, part=part)
    own = {Tint.RED: "red", Tint.GREEN: "green", Tint.BLUE: "blue"}.get(tint) if tint is not None else None
    return "the plastic's own colour" if own is not None and bare.hue == own else bare.hue


def _values(colour: Colour) -> tuple[int, int, int, int]:
    return colour.red, colour.green, colour.blue, colour.white
