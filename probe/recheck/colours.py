"""The four colours of look frames: as light, as sign and as word, and a playfield lit in them as spots of a picture.

Behind an insert's plastic a colour looks otherwise: a red one shows red, yellow and white as red and blue as dark. So a
list says what will be seen, by the model of plastics, and colours with one word there are one answer. Each has a sign and
a word, so that no answer needs the hue's name; that eyes without red or green cones tell them apart is held by a test with
the light of the diodes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from device_protocol.values import Colour
from probe.document.model import Kind, Place, PlayfieldMap
from probe.lighting.advice import tint_at
from probe.lighting.plastics import Tint, seen_words, surviving
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
OTHER_SIGN, OTHER_LETTER = "○", "O"
"""For what is seen in none of the four colours, such as green."""
UNKNOWN_WORD = "any colour"
"""For a place under plastic that nobody described: it may show anything."""
LEVELS = (4, 8, 16, 24, 32, 64, 128, 255)
START_LEVEL = 24


@dataclass(frozen=True)
class Behind:
    """What the four colours look like at a place. words: for each the first colour with the same word there, or UNLIT
    where it is as good as dark; names: the word of each."""

    words: tuple[int, ...]
    names: tuple[str, ...]

    def name(self, colour: int) -> str:
        """The word for a colour that is sent, or for UNLIT."""
        return DARK_WORD if colour == UNLIT else self.names[colour]

    def seen(self, colours: Sequence[int]) -> tuple[int, ...]:
        """What is seen of colours that are sent."""
        return tuple(UNLIT if colour == UNLIT else self.words[colour] for colour in colours)


UNKNOWN = Behind((UNLIT,) * 4, (UNKNOWN_WORD,) * 4)


@cache
def behind(tint: Tint | None) -> Behind:
    """The four colours behind a plastic. A colour keeps its word where the word survives; else it is the hue that is seen."""
    sent = {colour.word: colour.at(START_LEVEL) for colour in LOOK_COLOURS}
    keep = surviving(sent, tint)
    names: dict[str, str] = {}
    for group in seen_words(sent, tint):
        word = group[0].words
        dark = word.startswith("as good")
        for one in group:
            names[one.word] = DARK_WORD if dark else one.word if one.word in keep else word
    listed = [names[colour.word] for colour in LOOK_COLOURS]
    hues = [name.removesuffix(", dim") for name in listed]
    if len(set(hues)) == len(set(listed)):
        listed = hues  # nothing there that "dim" sets apart
    words = tuple(UNLIT if name == DARK_WORD else listed.index(name) for name in listed)
    return Behind(words, tuple(listed))


PLAIN = behind(None)


def seen_at(map_: PlayfieldMap, place: Place) -> Behind:
    """What is seen at a place.

    An insert whose plastic the lamp list does not give, where it gives others', may show anything; where it gives none
    at all, and at other kinds of places, nothing is known to be coloured.
    """
    tint = tint_at(map_, place)
    if tint is None and place.kind is Kind.INSERT and any(tint_at(map_, other) is not None for other in map_.places):
        return UNKNOWN
    return behind(tint)


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


def colours_words(colours: Sequence[int], *, at: Behind = PLAIN, plain_ascii: bool = False) -> str:
    """Signs and words of what a place shows when it is sent colours: `◆ red`, `◆▲ red+yellow`, `○ green`."""
    if not colours:
        return ""
    names = [at.name(colour) for colour in colours]
    return f"{''.join(sign_of(name, plain_ascii=plain_ascii) for name in names)} {'+'.join(names)}"


def sign_of(name: str, *, plain_ascii: bool = False) -> str:
    """The sign for a word of what is seen."""
    if name == DARK_WORD:
        return colour_sign(UNLIT, plain_ascii=plain_ascii)
    found = next((n for n, colour in enumerate(LOOK_COLOURS) if colour.word == name), None)
    if found is None:
        return OTHER_LETTER if plain_ascii else OTHER_SIGN
    return colour_sign(found, plain_ascii=plain_ascii)


def legend(*, plain_ascii: bool = False) -> str:
    """What the signs mean."""
    four = [colours_words((c,), plain_ascii=plain_ascii) for c in (*range(len(LOOK_COLOURS)), UNLIT)]
    return "  ".join((*four, f"{OTHER_LETTER if plain_ascii else OTHER_SIGN} other"))


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
        at = seen_at(map_, place)
        look = _look_of(UNLIT if colour == UNLIT or at.name(colour) == DARK_WORD else colour)
        spots.append(Spot(place.position, sign_of(at.name(colour), plain_ascii=plain_ascii), look))
    return tuple(spots)


def signs_by_word(*, plain_ascii: bool = False) -> dict[str, tuple[str, str]]:
    """For each colour's word its sign and the picture's name for it."""
    return {c.word: (colour_sign(n, plain_ascii=plain_ascii), _look_of(n)) for n, c in enumerate(LOOK_COLOURS)}
