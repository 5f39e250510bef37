"""The four colours of look frames: as light, as sign and as word, and a playfield lit in them as spots of a picture.

Blue, yellow and white differ along the blue-yellow axis or in being without hue, which red-green blindness leaves; red
beside yellow differs from it about fivefold in luminance (linear sRGB luminances 0.213 and 0.928, IEC 61966-2-1), and
for those who see no red it is darker still. Each has a sign and a word, so that no answer needs the hue's name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from device_protocol.values import Colour
from probe.document.model import PlayfieldMap
from probe.recheck.engine.codes import UNLIT
from probe.task.views import Spot


@dataclass(frozen=True)
class LookColour:
    """One colour. `sign` is drawn in the picture, `letter` where only ASCII may be."""

    word: str
    sign: str
    letter: str
    parts: tuple[int, int, int]

    def at(self, level: int) -> Colour:
        """The light of this colour at a level from 1 to 255."""
        return Colour(*(level if part else 0 for part in self.parts))


LOOK_COLOURS = (
    LookColour("red", "◆", "R", (1, 0, 0)),
    LookColour("yellow", "▲", "Y", (1, 1, 0)),
    LookColour("blue", "■", "B", (0, 0, 1)),
    LookColour("white", "●", "W", (1, 1, 1)),
)
DARK_WORD, DARK_SIGN = "dark", "·"
LEVELS = (4, 8, 16, 24, 32, 64, 128, 255)
START_LEVEL = 24


def level_beside(level: int, by: int) -> int:
    """So many steps brighter, or dimmer, than the step nearest to a level; of 255."""
    at = min(range(len(LEVELS)), key=lambda i: abs(LEVELS[i] - level))
    return LEVELS[max(0, min(len(LEVELS) - 1, at + by))]


def light_of(colours: tuple[int, ...], level: int) -> tuple[Colour, ...]:
    """A frame's colours as light."""
    dark = Colour(0, 0, 0)
    lit = [colour.at(level) for colour in LOOK_COLOURS]
    return tuple(dark if c == UNLIT else lit[c] for c in colours)


def colour_word(colour: int) -> str:
    """The word for a colour's number, or for UNLIT."""
    return DARK_WORD if colour == UNLIT else LOOK_COLOURS[colour].word


def colour_sign(colour: int, *, plain_ascii: bool = False) -> str:
    """The sign for a colour's number, or for UNLIT."""
    if colour == UNLIT:
        return "." if plain_ascii else DARK_SIGN
    return LOOK_COLOURS[colour].letter if plain_ascii else LOOK_COLOURS[colour].sign


def colours_words(colours: Sequence[int], *, plain_ascii: bool = False) -> str:
    """Signs and words of what a place shows: `◆ red`, `◆▲ red+yellow`."""
    if not colours:
        return ""
    signs = "".join(colour_sign(c, plain_ascii=plain_ascii) for c in colours)
    return f"{signs} {'+'.join(colour_word(c) for c in colours)}"


def legend(*, plain_ascii: bool = False) -> str:
    """What the signs mean."""
    return "  ".join(colours_words((c,), plain_ascii=plain_ascii) for c in (*range(len(LOOK_COLOURS)), UNLIT))


def _look_of(colour: int) -> str:
    """How the picture draws what shows a colour: by its letter on a filled cell, never by the colour of a sign."""
    return "off" if colour == UNLIT else "colour"


def look_spots(
    map_: PlayfieldMap, shown: Mapping[str, Sequence[int]], *, plain_ascii: bool = False
) -> tuple[Spot, ...]:
    """One sign for each place (by its id): the colour that it should show, of several the first that is lit."""
    spots: list[Spot] = []
    for place_id, colours in shown.items():
        place = map_.place_by_id.get(place_id)
        if place is None or place.position is None or not colours:
            continue
        colour = next((c for c in colours if c != UNLIT), UNLIT)
        spots.append(Spot(place.position, colour_sign(colour, plain_ascii=plain_ascii), _look_of(colour)))
    return tuple(spots)


def signs_by_word(*, plain_ascii: bool = False) -> dict[str, tuple[str, str]]:
    """For each colour's word its sign and the picture's name for it."""
    return {c.word: (colour_sign(n, plain_ascii=plain_ascii), _look_of(n)) for n, c in enumerate(LOOK_COLOURS)}
