"""Answers of a recheck as the map keeps them, and back: nothing that was said is lost when the program ends.

What is kept is every question with its answer. Going on is answering them again, which comes to the same inference.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from probe.document.diff import as_order, expanded
from probe.document.model import storable
from probe.document.model.open_recheck import OpenRecheck, PlaceShows, RecheckAnswer, Said
from probe.recheck.colours import PLAIN
from probe.recheck.engine import Options, Recheck, RecheckStep
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    Action,
    AllAsShown,
    Answer,
    AreaDiffers,
    AskStop,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    OtherChain,
    PlaceSeen,
    Probe,
    Setup,
    Stops,
    TakenOut,
)
from probe.recheck.entries import Entries, Name
from probe.recheck.state import Advanced, advanced
from probe.task.effects import Progress

_SIGNS = "rybw"
_DARK = "."
MOST_SEEDS = 100_000


class KeptError(ValueError):
    """Kept answers cannot be used. The text says why."""


def digest(entries: Entries, *, answered: bool) -> str:
    """What a recheck rests on, as 16 hexadecimal digits: pixels, their states and places, in order.

    Answers rest on the other chains and on plastics that change a colour as well; changes declared before any answer do
    not. Labels, notes and what is verified are no part of it: they change no question and no answer.
    """
    own = {pixel.id for pixel in entries.before.chain(entries.chain_id).pixels}
    lines = [str(len(entries.chain.pixels))]
    here = len(entries.pixels) - (0 if answered else sum(map(len, entries.foreign)))
    lines += [f"{p.id if p.id in own else '+'} {p.state.value} {p.place or '-'}" for p in entries.pixels[:here]]
    if answered:
        lines += [f"{chain} {len(those)}" for chain, those in zip(entries.other_chains, entries.foreign, strict=True)]
        lines += [f"{entry} {at.words}" for entry, at in enumerate(entries.seen) if at.words != PLAIN.words]
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()[:16]


# -- one answer -----------------------------------------------------------------------------------------------------


def row_of(seen: Observation, *, name: Name | None = None, naming: bool = False) -> RecheckAnswer:
    """A question and its answer as the map keeps it. `name`: what the pixel that was lit is called from now on."""
    said, more = _said(seen.answer)
    if name is not None:
        more |= {"label": storable(name.label), "known": name.place}
    if isinstance(seen.action, Probe):
        more["number"] = seen.action.number
    elif isinstance(seen.action, AskStop):
        more |= {"number": seen.action.number, "colours": _signs(seen.action.colours)}
    else:
        look = seen.action
        more |= {
            "colours": _signs(look.colours),
            "places": as_order(look.places),
            "expected": _signs(look.expected),
            "named": as_order(sorted(look.named)),
        }
    return RecheckAnswer.model_validate({"said": said, "naming": naming, **more})


def _said(answer: Answer) -> tuple[Said, dict[str, object]]:
    match answer:
        case AllAsShown():
            return Said.AS_SHOWN, {}
        case Differs(seen=seen):
            first, *rest = (PlaceShows(place=one.place, colour=_signs(one.colours) or _DARK) for one in seen)
            return Said.DIFFERS, {"place": first.place, "colour": first.colour, "more": tuple(rest)}
        case NewPlaceDiffers(number=number, colour=colour):
            return Said.NEW_DIFFERS, {"new": number, "colour": _signs((colour,))}
        case ExtraLight():
            return Said.ELSEWHERE, {}
        case AreaDiffers(place=place):
            return Said.AREA_DIFFERS, {"place": place}
        case OtherChain(chain=chain, place=place):
            return Said.OTHER_CHAIN, {"new": chain, "place": place}
        case AtPlace(place=place):
            return Said.AT_PLACE, {"place": place}
        case AtNewPlace():
            return Said.NEW_PLACE, {}
        case NothingLit():
            return Said.NOTHING_LIT, {}
        case Stops():
            return Said.DATA_STOP, {}
        case TakenOut():
            return Said.TAKEN_OUT, {}
        case NotSure():
            return Said.NOT_SURE, {}
        case _:
            raise KeptError(f"{type(answer).__name__} is no answer that a map keeps")


def seen_in(row: RecheckAnswer, setup: Setup) -> Observation:
    """A kept question and its answer. Raises KeptError for one that cannot have been asked or answered so."""
    try:
        return Observation(action=_action(row, setup), answer=_answer(row, setup))
    except TypeError as error:
        raise KeptError(f"“{row.said.value}” answers another kind of question") from error


def _action(row: RecheckAnswer, setup: Setup) -> Action:
    if row.number is not None and row.colours:
        return AskStop(number=row.number, colours=_colours(row.colours))
    if row.number is not None:
        return Probe(number=row.number)
    if not row.colours:
        raise KeptError("an answer does not say what was lit")
    places = numbers_in(row.places)
    if len(places) != len(row.expected):
        raise KeptError("a picture does not say one colour for each place")
    for place in places:
        _entry(place, setup)
    return Look(
        colours=_colours(row.colours),
        places=places,
        expected=_colours(row.expected),
        named=frozenset(n for n in numbers_in(row.named) if n < len(row.colours)),
    )


def _answer(row: RecheckAnswer, setup: Setup) -> Answer:
    match row.said:
        case Said.AS_SHOWN:
            return AllAsShown()
        case Said.DIFFERS:
            first = PlaceSeen(_entry(row.place, setup), _seen(row.colour))
            return Differs((first, *(PlaceSeen(_entry(one.place, setup), _seen(one.colour)) for one in row.more)))
        case Said.NEW_DIFFERS:
            if row.new is None:
                raise KeptError("an answer does not say which new place differed")
            return NewPlaceDiffers(row.new, _colour(row.colour))
        case Said.ELSEWHERE:
            return ExtraLight()
        case Said.OTHER_CHAIN:
            if row.new is None or row.new >= len(setup.foreign):
                raise KeptError("an answer does not say which other chain was seen")
            return OtherChain(row.new, None if row.place is None else _entry(row.place, setup))
        case Said.AREA_DIFFERS:
            return AreaDiffers(_entry(row.place, setup))
        case Said.AT_PLACE:
            return AtPlace(_entry(row.place, setup))
        case Said.NEW_PLACE:
            return AtNewPlace()
        case Said.NOTHING_LIT:
            return NothingLit()
        case Said.NOT_SURE:
            return NotSure()
        case Said.DATA_STOP:
            return Stops()
        case Said.TAKEN_OUT:
            return TakenOut()


def _entry(entry: int | None, setup: Setup) -> int:
    if entry is None or entry >= setup.entries:
        raise KeptError(f"an answer names pixel {entry} of a chain that has {setup.entries}")
    return entry


def _signs(colours: Sequence[int]) -> str:
    return "".join(_DARK if colour == UNLIT else _SIGNS[colour] for colour in colours)


def _colours(signs: str) -> tuple[int, ...]:
    return tuple(UNLIT if sign == _DARK else _SIGNS.index(sign) for sign in signs)


def _colour(sign: str) -> int:
    if not sign:
        raise KeptError("an answer does not say which colour was seen")
    return _colours(sign)[0]


def _seen(signs: str) -> tuple[int, ...]:
    """Several pixels shine at one place: several colours; dark: none."""
    if not signs:
        raise KeptError("an answer does not say which colour was seen")
    return tuple(c for c in _colours(signs) if c != UNLIT)


def numbers_in(runs: str) -> tuple[int, ...]:
    """The numbers of a text of runs. Raises KeptError for new ones, which have no number yet."""
    found: list[int] = []
    for number in expanded(runs):
        if number is None:
            raise KeptError("an answer names pixels without a number")
        found.append(number)
    return tuple(found)


def options_of(kept: OpenRecheck) -> Options:
    """How this recheck asks. Its pictures are its own: another revision or another attempt shows others."""
    seed = zlib.crc32(f"{kept.rests_on} {kept.begun}".encode()) % MOST_SEEDS
    return Options(looks=kept.looks, seed=seed)


# -- all of them ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Given:
    """One kept answer, ready to be given again; `names` are the names of new pixels after it."""

    seen: Observation
    naming: bool
    names: Mapping[int, Name]


def names_after(names: Mapping[int, Name], seen: Observation, name: Name | None) -> Mapping[int, Name]:
    """The names of new pixels after an answer: a pixel seen where an old one was, or dark, has none of its own."""
    if not isinstance(seen.action, Probe):
        return names
    number = seen.action.number
    if isinstance(seen.answer, AtNewPlace) and name is not None:
        return {**names, number: name}
    if isinstance(seen.answer, AtPlace | NothingLit) and number in names:
        return {n: kept for n, kept in names.items() if n != number}
    return names


def given_in(kept: OpenRecheck, setup: Setup) -> tuple[Given, ...]:
    """All kept answers in their order. Raises KeptError."""
    names: Mapping[int, Name] = {}
    found: list[Given] = []
    for row in kept.answers:
        seen = seen_in(row, setup)
        names = names_after(names, seen, Name(row.label, row.known) if row.label.strip() else None)
        found.append(Given(seen, row.naming, names))
    return tuple(found)


@dataclass(frozen=True)
class Replayed:
    """Kept answers given again: the inference before the first of them and after each."""

    given: tuple[Given, ...]
    advanced: tuple[Advanced, ...]


@dataclass(frozen=True)
class Unusable:
    """Kept answers that cannot be given again, and why."""

    why: str


def replayed(setup: Setup, options: Options, kept: OpenRecheck, progress: Progress) -> Replayed | Unusable:
    """Kept answers given again, each to the question that it answered; then the next question is chosen anew."""
    try:
        given = given_in(kept, setup)
        progress.total = len(given) + 1
        engine = Recheck.start(setup, options)
        found: list[Advanced] = []
        for one in given:
            found.append(advanced(engine, RecheckStep(action=one.seen.action, naming=one.naming)))
            engine = engine.answered(one.seen.action, one.seen.answer)
            progress.step()
    except (KeptError, ValueError) as error:
        return Unusable(str(error))
    found.append(advanced(engine))
    progress.step()
    return Replayed(given, tuple(found))
