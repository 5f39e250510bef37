"""Changes in words, as people say them: `3 new after Reef lane 2`, `took out GI 12`, `swapped Kelp 1 and Kelp 2`.

    [CHAIN:] N new after|before WHERE      [CHAIN:] new at the start|at the end
    took out WHERE [to WHERE]              reversed WHERE to WHERE
    moved WHERE [to WHERE] after|before WHERE | to the start | to the end
    swapped WHERE and WHERE                replaced WHERE [with BATCH]

WHERE is a place's label, or a number written `14` or `#14`; a label that is itself a number is written in quotes. Any
label may be quoted. Spelling may be a little off, but what is meant has to be plain: two places that fit are an error
that names both. A place with several pixels means all of them if they are neighbours.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from rapidfuzz import fuzz, process

from probe.document.change_words import pixel_words
from probe.document.edits import Edit, EditError, Insert, MoveRun, Remove, Replace, Reverse, Swap, apply_edit, ordered
from probe.document.model import MAX_PIXELS, Chain, Place, PlayfieldMap
from probe.document.operations import folded
from probe.document.wiring import batch_named

LIKE_ENOUGH = 84.0
"""Least likeness (0 to 100, rapidfuzz's plain ratio) of a label that is not spelt as in the map. Our own choice."""
CLEAR_BY = 6.0
"""A misspelt label has to be this much more like one place than like any other."""

FORMS = (
    "3 new after Reef lane 2",
    "took out GI 12",
    "reversed Reef lane 1 to Reef lane 4",
    "moved Reef lane 1 to Reef lane 3 after GI 4",
    "swapped Reef lane 1 and Reef lane 2",
    "replaced GI 3",
)

_NUMBER = re.compile(r"^#?(\d{1,5})$")


class EditTextError(EditError):
    """Words that are not understood, or that fit more than one thing. The text says what to write instead."""


@dataclass(frozen=True)
class _Anchor:
    """A run of pixels that a WHERE means."""

    first: int
    last: int


def parse_edit(map_: PlayfieldMap, text: str) -> Edit:
    """The edit that a line of words means on this map. Raises EditTextError."""
    if not map_.chains:
        raise EditTextError("this map has no chain yet: set one up first")
    if not text.strip():
        raise EditTextError(f"nothing is said: write for example {FORMS[0]!r}")
    chains, words_given = _chain_named(map_, text)
    words = _TOKEN.findall(words_given)
    exact: dict[Edit, None] = {}
    close: dict[Edit, None] = {}
    wrong: list[EditTextError] = []
    for form, make in _RULES:
        for parts in _readings(form, words):
            for chain in chains:
                reader = _Reader(map_, chain, parts)
                try:
                    edit = make(reader)
                    ordered(len(chain.pixels), edit)
                except EditError as error:
                    wrong.append(EditTextError(str(error)))
                else:
                    (exact if reader.exact else close)[edit] = None
    found = list(exact or close)
    if len(found) == 1:
        return found[0]
    if found:
        either = "; or: ".join(edit_words(map_, edit) for edit in found[:4])
        raise EditTextError(
            f"{_short(text)} can mean more than one thing: {either}. Name the chain first, or use numbers"
        )
    if wrong:
        raise wrong[0]
    forms = "; ".join(FORMS)
    raise EditTextError(f"{_short(text)} is not understood. Write one of these: {forms}")


def parse_edits(map_: PlayfieldMap, texts: Sequence[str]) -> tuple[Edit, ...]:
    """Edits of several lines, each written in the numbering and with the names that the one before left."""
    edits: list[Edit] = []
    for text in texts:
        edit = parse_edit(map_, text)
        edits.append(edit)
        map_ = apply_edit(map_, edit)
    return tuple(edits)


def edit_words(map_: PlayfieldMap, edit: Edit) -> str:
    """An edit as a person writes it, with the names of places."""
    chain = map_.chain(edit.chain)

    def name(number: int) -> str:
        return f"{pixel_words(map_, chain, number)} ({number})"

    def run(first: int, last: int) -> str:
        return name(first) if first == last else f"{name(first)} to {name(last)}"

    where = f" on {chain.name}" if len(map_.chains) > 1 else ""
    match edit:
        case Insert(after=after, count=count):
            return f"{count} new " + ("at the start" if after is None else f"after {name(after)}") + where
        case Remove(first=first, last=last):
            return f"took out {run(first, last)}{where}"
        case Reverse(first=first, last=last):
            return f"reversed {run(first, last)}{where}"
        case MoveRun(first=first, last=last, after=after):
            return f"moved {run(first, last)} " + ("to the start" if after is None else f"after {name(after)}") + where
        case Swap(one=one, other=other):
            return f"swapped {name(one)} and {name(other)}{where}"
        case Replace(number=number):
            return f"replaced {name(number)}{where}"


def _short(text: str) -> str:
    line = " ".join(text.split())
    return repr(line if len(line) <= 60 else line[:59] + "…")


# -- grammar --------------------------------------------------------------------------------------------------------

_TOKEN = re.compile(r'"[^"]*"|\S+')


@dataclass(frozen=True)
class _Slot:
    """One or more words of the person's own."""

    name: str


_Form = tuple[str | _Slot, ...]
_A, _B, _C, _COUNT, _BATCH = _Slot("a"), _Slot("b"), _Slot("c"), _Slot("count"), _Slot("batch")
_Parts = dict[str, str]


def _readings(form: _Form, words: Sequence[str]) -> Iterator[_Parts]:
    """Every way to read the words by a form: a label may itself hold `to` or `and`."""
    if not form:
        if not words:
            yield {}
        return
    first, rest = form[0], form[1:]
    if isinstance(first, str):
        if words and words[0].casefold() in first.split("|"):
            yield from _readings(rest, words[1:])
        return
    longest = 1 if first is _COUNT else len(words)
    for used in range(1, min(longest, len(words)) + 1):
        for later in _readings(rest, words[used:]):
            yield {first.name: " ".join(words[:used])} | later


class _Reader:
    """Resolves the parts of one reading on one chain. `exact` turns False when a label was not spelt as in the map."""

    def __init__(self, map_: PlayfieldMap, chain: Chain, parts: _Parts) -> None:
        self.map, self.chain, self.parts = map_, chain, parts
        self.exact = True

    def spot(self, name: str) -> _Anchor:
        """The run of pixels that a WHERE means. Raises EditTextError."""
        given = self.parts[name]
        number = _NUMBER.match(given)
        if number is not None:
            at = int(number[1])
            if at >= len(self.chain.pixels):
                last = len(self.chain.pixels) - 1
                raise EditTextError(f"{self.chain.name} has no pixel {at}: its numbers are 0 to {last}")
            return _Anchor(at, at)
        numbers = self._numbers_of(_unquoted(given))
        first, last = numbers[0], numbers[-1]
        if last - first + 1 != len(numbers):
            listed = ", ".join(f"#{n}" for n in numbers)
            raise EditTextError(
                f"{_short(given)} is lit by pixels that are not neighbours ({listed}): say which number"
            )
        return _Anchor(first, last)

    def single(self, name: str) -> int:
        """The one pixel that a WHERE means."""
        spot = self.spot(name)
        if spot.first != spot.last:
            raise EditTextError(
                f"{_short(self.parts[name])} has the pixels #{spot.first} to #{spot.last}: say which number"
            )
        return spot.first

    def run(self, first: str, last: str) -> tuple[int, int]:
        """First and last number of `WHERE [to WHERE]`."""
        begin = self.spot(first)
        end = self.spot(last) if last in self.parts else begin
        if end.first < begin.first:
            begin, end = end, begin
        return begin.first, end.last

    def _numbers_of(self, label: str) -> list[int]:
        here: dict[str, list[int]] = {}
        for number, pixel in enumerate(self.chain.pixels):
            if pixel.place is not None:
                here.setdefault(pixel.place, []).append(number)
        places = [self.map.place_by_id[place] for place in here]
        wanted = folded(label)
        fitting = [p for p in places if wanted in (folded(p.label), folded(f"{p.label} ({p.area})"))]
        if not fitting:
            self.exact = False
            fitting = self._alike(wanted, places)
        if len(fitting) > 1:
            names = " or ".join(f'"{p.label} ({p.area or "no area"})"' for p in fitting[:4])
            raise EditTextError(f"{_short(label)} fits more than one place: say {names}, or a number")
        return here[fitting[0].id]

    def _alike(self, wanted: str, places: Sequence[Place]) -> list[Place]:
        names = {index: folded(place.label) for index, place in enumerate(places)}
        alike = process.extract(wanted, names, scorer=fuzz.ratio, limit=4)
        if not alike or alike[0][1] < LIKE_ENOUGH or not _same_digits(wanted, alike[0][0]):
            near = ", ".join(f'"{places[index].label}"' for _, score, index in alike[:3] if score >= 55)
            hint = f"did you mean {near}?" if near else "write the label as in the map, or a number such as #14"
            raise EditTextError(f"{self.chain.name} has no place {_short(wanted)}: {hint}")
        best = alike[0][1]
        return [places[index] for _, score, index in alike if score > best - CLEAR_BY and score >= LIKE_ENOUGH]


def _same_digits(one: str, other: str) -> bool:
    """A wrong digit is never a misspelling: `GI 12` is not `GI 13`."""
    return re.findall(r"\d+", one) == re.findall(r"\d+", other)


def _unquoted(given: str) -> str:
    return given[1:-1] if len(given) > 1 and given[0] == given[-1] == '"' else given


def _count(reader: _Reader) -> int:
    given = reader.parts.get("count", "1")
    if given.casefold() in ("a", "one"):
        return 1
    if not given.isdecimal() or len(given) > 5 or not 0 < int(given) <= MAX_PIXELS:
        raise EditTextError(f"{_short(given)} is not a count of new pixels: write for example 3 new after Reef lane 2")
    return int(given)


def _batch(reader: _Reader) -> str | None:
    given = reader.parts.get("batch")
    if given is None:
        return None
    batch = batch_named(reader.map, _unquoted(given)) or reader.map.batch_by_id.get(folded(_unquoted(given)))
    if batch is not None:
        return batch.id
    known = ", ".join(f'"{batch.name}"' for batch in reader.map.batches[:5]) or "none"
    raise EditTextError(f"there is no batch {_short(given)}: the map has {known}")


def _insert(reader: _Reader, *, where: str) -> Edit:
    last = len(reader.chain.pixels) - 1
    after: int | None
    if where == "after":
        after = reader.spot("a").last
    elif where == "before":
        after = reader.spot("a").first - 1
    else:
        after = -1 if where == "start" else last
    return Insert(
        chain=reader.chain.id, after=after if after >= 0 else None, count=_count(reader), batch=_batch(reader)
    )


def _remove(reader: _Reader) -> Edit:
    first, last = reader.run("a", "b")
    return Remove(chain=reader.chain.id, first=first, last=last)


def _reverse(reader: _Reader) -> Edit:
    first, last = reader.run("a", "b")
    if first == last:
        raise EditTextError(f"one pixel cannot be reversed: say from where to where, as in {FORMS[2]!r}")
    return Reverse(chain=reader.chain.id, first=first, last=last)


def _move(reader: _Reader, *, where: str) -> Edit:
    first, last = reader.run("a", "b")
    length = len(reader.chain.pixels)
    if where == "after":
        after = reader.spot("c").last
    elif where == "before":
        after = reader.spot("c").first - 1
    else:
        after = -1 if where == "start" else length - 1
    if first <= after <= last:  # it stays where it is, seen from its own pixels
        after = first - 1
    return MoveRun(chain=reader.chain.id, first=first, last=last, after=after if after >= 0 else None)


def _swap(reader: _Reader) -> Edit:
    return Swap(chain=reader.chain.id, one=reader.single("a"), other=reader.single("b"))


def _replace(reader: _Reader) -> Edit:
    return Replace(chain=reader.chain.id, number=reader.single("a"), batch=_batch(reader))


_Make = Callable[[_Reader], Edit]


def _grammar() -> list[tuple[_Form, _Make]]:
    """Every form with what it makes."""
    rules: list[tuple[_Form, _Make]] = []

    def add(make: _Make, *forms: _Form) -> None:
        for form in forms:
            rules.append((form, make))

    for head in ((_COUNT, "new"), (_COUNT, "new", "pixel|pixels"), ("new",), (_COUNT, "spliced", "in")):
        for tail in ((), ("with|from", _BATCH)):
            for where in ("after", "before"):
                add(partial(_insert, where=where), (*head, where, _A, *tail))
            for where in ("start", "end"):
                add(partial(_insert, where=where), (*head, "at", "the", where, *tail))
    for words in (("took", "out"), ("taken", "out"), ("take", "out"), ("removed|remove",)):
        add(_remove, (*words, _A), (*words, _A, "to|–", _B))
    for words in (("reversed|reverse",), ("turned|turn", "around")):
        add(_reverse, (*words, _A), (*words, _A, "to", _B))
    for run in ((_A,), (_A, "to", _B)):
        for where in ("after", "before"):
            add(partial(_move, where=where), ("moved|move", *run, where, _C))
        for where in ("start", "end"):
            add(partial(_move, where=where), ("moved|move", *run, "to", "the", where))
    add(_swap, ("swapped|swap", _A, "and|with", _B))
    add(_replace, ("replaced|replace", _A), ("replaced|replace", _A, "with|by", _BATCH))
    return rules


_RULES = _grammar()


def _chain_named(map_: PlayfieldMap, text: str) -> tuple[tuple[Chain, ...], str]:
    """`Backbox: …` names the chain; otherwise any chain will do."""
    for chain in map_.chains:
        for name in (chain.name, f'"{chain.name}"', chain.id):
            head = f"{folded(name)}:"
            if folded(text).startswith(head) and ":" in text:
                return (chain,), text.split(":", name.count(":") + 1)[-1]
    return map_.chains, text
