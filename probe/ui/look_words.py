"""Look colours on screen: sign and word together everywhere, colour only beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from textual.content import Content

from probe.document.model import PlayfieldMap
from probe.recheck.colours import LOOK_COLOURS, colour_sign, colour_word
from probe.recheck.engine.codes import UNLIT
from probe.ui.widgets.picture import Spot


def colours_words(colours: Sequence[int], *, plain_ascii: bool = False) -> str:
    """Signs and words of what a place shows: `◆ red`, `◆▲ red+yellow`."""
    if not colours:
        return ""
    signs = "".join(colour_sign(c, plain_ascii=plain_ascii) for c in colours)
    return f"{signs} {'+'.join(colour_word(c) for c in colours)}"


def legend(*, plain_ascii: bool = False) -> Content:
    """What the signs mean."""
    signs = [colours_words((c,), plain_ascii=plain_ascii) for c in (*range(len(LOOK_COLOURS)), UNLIT)]
    return Content("  ".join(signs))


def look_of(colour: int) -> str:
    """The picture's name for a colour."""
    return "off" if colour == UNLIT else f"light-{LOOK_COLOURS[colour].word}"


def look_spots(m: PlayfieldMap, shown: Mapping[str, Sequence[int]], *, plain_ascii: bool = False) -> list[Spot]:
    """One sign for each place: the colour that it should show (of several, the first that is lit)."""
    spots: list[Spot] = []
    for place_id, colours in shown.items():
        place = m.place_by_id.get(place_id)
        if place is None or place.position is None or not colours:
            continue
        colour = next((c for c in colours if c != UNLIT), UNLIT)
        spots.append(Spot(place.position, colour_sign(colour, plain_ascii=plain_ascii), look_of(colour)))
    return spots


def seen_spots(truth: PlayfieldMap, seen: Iterable[tuple[str, str]], *, plain_ascii: bool = False) -> list[Spot]:
    """What a simulated playfield really shows, in the same signs."""
    words = {colour.word: number for number, colour in enumerate(LOOK_COLOURS)}
    shown: dict[str, list[int]] = {}
    for place, word in seen:
        if word in words:
            shown.setdefault(place, []).append(words[word])
    return look_spots(truth, shown, plain_ascii=plain_ascii)
