"""The four colours of look frames: as light, as sign and as word.

Blue, yellow and white differ along the blue-yellow axis or in being without hue, which red-green blindness leaves; red
beside yellow differs from it about fivefold in luminance (linear sRGB luminances 0.213 and 0.928, IEC 61966-2-1), and
for those who see no red it is darker still. Each has a sign and a word, so that no answer needs the hue's name.
"""

from __future__ import annotations

from dataclasses import dataclass

from device_protocol.values import Colour
from probe.recheck.engine.codes import UNLIT


@dataclass(frozen=True)
class LookColour:
    """One colour. `sign` is drawn in the picture, `letter` where only ASCII may be, `screen` is its colour there."""

    word: str
    sign: str
    letter: str
    parts: tuple[int, int, int]
    screen: str

    def at(self, level: int) -> Colour:
        """The light of this colour at a level from 1 to 255."""
        return Colour(*(level if part else 0 for part in self.parts))


LOOK_COLOURS = (
    LookColour("red", "◆", "R", (1, 0, 0), "#D55E00"),
    LookColour("yellow", "▲", "Y", (1, 1, 0), "#F0E442"),
    LookColour("blue", "■", "B", (0, 0, 1), "#56B4E9"),
    LookColour("white", "●", "W", (1, 1, 1), "#FFFFFF"),
)
DARK_WORD, DARK_SIGN = "dark", "·"


def colour_word(colour: int) -> str:
    """The word for a colour's number, or for UNLIT."""
    return DARK_WORD if colour == UNLIT else LOOK_COLOURS[colour].word


def colour_sign(colour: int, *, plain_ascii: bool = False) -> str:
    """The sign for a colour's number, or for UNLIT."""
    if colour == UNLIT:
        return "." if plain_ascii else DARK_SIGN
    return LOOK_COLOURS[colour].letter if plain_ascii else LOOK_COLOURS[colour].sign


def light_of(colours: tuple[int, ...], level: int) -> tuple[Colour, ...]:
    """A frame's colours as light."""
    dark = Colour(0, 0, 0)
    lit = [colour.at(level) for colour in LOOK_COLOURS]
    return tuple(dark if c == UNLIT else lit[c] for c in colours)
