"""A scripted person who sees what a simulated playfield shows and answers with as few keystrokes as come to mind.

The person knows the places' names (from the complete map), looks at the offers on the screen, and either takes one of
the first few or types the beginning of the name. Keystrokes are counted; typing follows what a real person would do.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from probe.document.model import Pixel, PixelState, Place, PlayfieldMap
from probe.document.operations import folded
from probe.mapping.completion import TRADE
from probe.mapping.offers import Surroundings, offers
from probe.mapping.walk_keys import Say
from probe.mapping.walk_state import OneKey, Walk
from probe.task.events import Choose, Take, Typed

_TRADE = {word for phrase in TRADE for word in phrase.split()}
_STATES = {
    PixelState.DARK: OneKey.NOTHING_LIT,
    PixelState.DEAD: OneKey.NOTHING_LIT,
    PixelState.HIDDEN: OneKey.HIDDEN,
    PixelState.SPARE: OneKey.SPARE,
    PixelState.REPEATER: OneKey.REPEATER,
}


@dataclass
class Count:
    """Keystrokes so far: letters typed, and other keys."""

    letters: int = 0
    commands: int = 0
    answers: int = 0
    names: list[str] = field(default_factory=list)

    @property
    def keys(self) -> int:
        """All keystrokes."""
        return self.letters + self.commands


class Person:
    """Answers a walk from the truth."""

    def __init__(self, truth: PlayfieldMap) -> None:
        self.truth = truth
        self.count = Count()

    def inputs(self, walk: Walk) -> list[object]:
        """What this person does now."""
        if walk.end is not None:
            self.count.commands += 1
            return [Say(OneKey.NOTHING_LIT)]
        chain = self.truth.chain(walk.chain)
        pixel = chain.pixels[walk.number]
        place = self.truth.place_of(pixel)
        self.count.answers += 1
        if pixel.state in _STATES or place is None:
            self.count.commands += 1
            return [Say(_STATES[pixel.state])]
        if self._is_last_place(walk, place):
            self.count.commands += 1
            return [Take()] if _offered(walk, "", place) == 0 else [Say(OneKey.SAME_PLACE)]
        return self._label(walk, place)

    def _is_last_place(self, walk: Walk, place: Place) -> bool:
        """Whether it shines where the pixel before it did, as one sees, and that was named so."""
        before = self.truth.chain(walk.chain).pixels[: walk.number]
        lit = next((p.place for p in reversed(before) if p.place is not None and p.state not in _STATES), None)
        last = walk.last_place
        return last is not None and lit == place.id and folded(last.label) == folded(place.label)

    def _label(self, walk: Walk, place: Place) -> list[object]:
        """The cheapest of: choosing among the first five offers, or typing a beginning and choosing among three.

        A beginning is that of the whole label, or of each of its words; a word that was in no label yet, and is none of
        the trade's, is typed whole.
        """
        best: tuple[int, str, int] | None = None
        words = place.label.split()
        parts = [place.label[:length].lower() for length in range(len(place.label))] + [place.label]
        parts += [" ".join(words[k:]) for k in range(1, len(words))] + [
            " ".join(words[:k]) for k in range(1, len(words))
        ]
        known = {word.casefold() for p in walk.map.places for word in p.label.split()} | _TRADE
        for letters in (1, 2, 3):
            short = (w if w.casefold() not in known or w.isdecimal() else w[:letters] for w in words)
            parts.append(" ".join(short).lower())
        for typed in parts:
            if best is not None and len(typed) + 1 >= best[0]:
                continue
            at = _offered(walk, typed, place)
            if at is not None and at < (5 if not typed else 3) and (best is None or len(typed) + at + 1 < best[0]):
                best = (len(typed) + at + 1, typed, at)
        if best is None:
            best = (len(place.label) + 1, place.label, 0)
        _, typed, at = best
        self.count.letters += len(typed)
        self.count.commands += at + 1
        keys: list[object] = [Typed(typed)] if typed else []
        return [*keys, *([Choose(1)] * at), Take()]


def _offered(walk: Walk, typed: str, place: Place) -> int | None:
    found = offers(Surroundings(walk.map, walk.chain, walk.number), typed)
    for at, offer in enumerate(found):
        if folded(offer.label) != folded(place.label):
            continue
        if offer.area is None or not offer.area or folded(offer.area) == folded(place.area):
            return at
    return None


def same_answers(map_: PlayfieldMap, truth: PlayfieldMap) -> list[str]:
    """Where two maps answer differently, pixel by pixel; empty if they agree (ids, notes and positions aside)."""
    wrong = []
    for chain in truth.chains:
        mine = map_.chain(chain.id).pixels
        for number, pixel in enumerate(chain.pixels):
            a, b = _said(map_, mine[number] if number < len(mine) else None), _said(truth, pixel)
            if a != b:
                wrong.append(f"{chain.id} {number}: {a} instead of {b}")
    return wrong


def _said(map_: PlayfieldMap, pixel: Pixel | None) -> str:
    if pixel is None:
        return "missing"
    place = map_.place_of(pixel)
    if place is not None and pixel.state is PixelState.PLACED:
        return folded(place.label)
    return "dark" if pixel.state in (PixelState.DARK, PixelState.DEAD) else pixel.state.value
