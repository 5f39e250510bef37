"""What is to be seen of a fault search: its question, its light, its suspects, its cautions."""

from __future__ import annotations

from functools import partial

from probe.cautions import FLEX, METERING, OFF_FIRST, SOAK, SOLDERING, SUPPLY_ALONE
from probe.document.model import PlayfieldMap, shown_number
from probe.document.plural import many
from probe.faults.explain import filled, why
from probe.faults.flexlog import ACTIONS, meaning
from probe.faults.jobs import looked_at, return_words
from probe.faults.joint import joint_sheet
from probe.faults.knowledge import CauseGroup, ChainPower, Who
from probe.faults.state import FLIP_QUESTION, FaultSearch, SearchMode
from probe.task.views import LIT_SIGN, Line, Pane, PictureView, Spot, TaskView

_COLOUR_WORDS = {"R": "red", "G": "green", "B": "blue", "W": "white"}
_JOINT_CAUSES = frozenset({CauseGroup.CHAIN})
_HEAD_CAUSES = frozenset(
    {"head-data-open", "first-input-dead", "wrong-end", "data-ground-swapped", "data-five-swapped"}
)


LONG = frozenset({SearchMode.REPAIR, SearchMode.FINDING, SearchMode.DONE})
_PROMPTS = {SearchMode.LAST_GOOD: "Last good number:", SearchMode.COLOURS: "Seen:"}
REASONS = 3
_LEAST_TO_MEND = 16
"""Rows that a remedy needs with its cautions, of which none may be cut."""
_REASON = "    "
"""Begins a line that says why, below its suspect."""


def view(search: FaultSearch, sight: tuple[Line, ...] = ()) -> TaskView:
    """The question, its light, its answers, and the suspects so far. `sight`: what stands in for eyes and meter.

    Safety steps and cautions stand with the question; only what is long scrolls.
    """
    asked, items = search.session.questions_asked, search.items
    lit, words = light_words(search)
    long = search.mode in LONG
    stopped = search.session.unsafe and bool(search.stop)
    below = tuple(Line(text, wrap=True) for text in details(search))
    beside = len(search.stop) if long else len(below)
    suspects = () if long else suspect_lines(search, reasons=REASONS)
    return TaskView(
        head=f"{search.map.machine.name} · {search.here.name} (output {search.here.output})"
        + (f" · {asked} asked" if asked else ""),
        board=search.board.words if search.board.here or not search.paper else "paper entry, no board",
        above=(
            Line(search.knowledge.on_screen, "dim", wrap=True),
            Line(headline(search), "reverse" if stopped else "bold", wrap=True),
            *below[:beside],
        ),
        prompt=_PROMPTS.get(search.mode, "Reading:") if search.types else "",
        typed=search.typed if search.types else None,
        items=tuple(Line(item.text[:1].upper() + item.text[1:]) for item in items),
        chosen=search.place,
        details=below[beside:],
        long=long,
        below=(
            Line(f"{'●' if lit else '○'} The board: {words}", wrap=True),
            *sight,
            *(Line(text, tall=text.startswith(_REASON), wrap=not text.startswith(_REASON)) for text in suspects),
        ),
        message=search.message or search.board.refused,
        unsaved=search.unsaved,
        picture=_picture(search) if not sight else None,  # those lines need the width
        panes=partial(_panes, search),
    )


def _picture(search: FaultSearch) -> PictureView | None:
    """The chain's way, the last good pixel, and the one after it, at whose joint the trouble is looked for; None where no
    place of the chain has a position."""
    places = [search.map.place_of(pixel) for pixel in search.here.pixels]
    if not any(place is not None and place.position is not None for place in places):
        return None
    halved = search.halving.pixel if search.halving is not None and search.mode is SearchMode.HALVING else None
    touched = search.flex.joint if search.flex is not None and search.mode is SearchMode.FLEX else None
    k = search.session.k
    if halved is not None:
        looks = {halved: "lit" if search.is_lit else "offered"}
        words = "ringed: the pixel that is asked about"
    elif touched is not None:
        looks = {touched - 1: "held", touched: "offered"}
        words = f"{LIT_SIGN} to ? the joint to touch"
    elif k is not None:
        looks = {k: "held", k + 1: "offered"}
        words = f"{LIT_SIGN} last good pixel, ? the next: look at the joint between them" if k >= 0 else "? first pixel"
    else:
        looks, words = {}, "the way of the data along the chain"
    spots = []
    for number, look in looks.items():
        place = places[number] if 0 <= number < len(places) else None
        if place is not None and place.position is not None:
            spots.append(Spot(place.position, "?" if look == "offered" else LIT_SIGN, look, place.label))
    return PictureView(tuple(spots), chain=search.chain, route=True, roomy=True, seen_on_request=True, legend=words)


def _panes(search: FaultSearch, rows: int) -> tuple[Pane, ...]:
    """What was said so far, the newest first, and what mends the first suspect."""
    k, said = search.session.k, []
    for given in reversed(search.session.answers):
        known = search.knowledge.observation(given.observation)
        if given.by_tool and all(known.answer(answer).normal for answer, _ in given.shares):
            continue
        words = given.reading or ", or ".join(filled(known.answer(answer).text, k) for answer, _ in given.shares)
        said += [Line(filled(known.question, k), "dim", wrap=True), Line(f"  {words or 'not sure'}", wrap=True)]
    panes = [Pane("Said so far", tuple(said[: 2 * (rows // 3)]))] if said else []
    found = search.diagnosis
    asked = search.session.questions_asked and search.mode not in LONG
    if found is not None and found.suspects and asked and rows >= _LEAST_TO_MEND:
        cause = found.suspects[0].cause
        lines = [Line(f"{filled(cause.remedy, k)}.", wrap=True)]
        if cause.caution:
            lines.append(Line(f"Caution: {filled(cause.caution, k)}.", wrap=True))
        panes.append(Pane("What would mend the first", (Line(OFF_FIRST, "dim", wrap=True), *lines)))
    return tuple(panes)


def headline(search: FaultSearch) -> str:
    """The question, or what the screen is about, in a sentence."""
    k = search.session.k
    match search.mode:
        case SearchMode.CONTEXT if search.dark_from is not None:
            dark = shown_number(search.dark_from)
            return f"Dark from pixel {dark} on: that is taken as seen. What is known besides? The first line begins."
        case SearchMode.CONTEXT:
            return "What is known already? Enter changes a line; the first line begins."
        case SearchMode.QUESTION:
            return filled(search.question.question, k) if search.question is not None else ""
        case SearchMode.LAST_GOOD:
            return "Which is the last good pixel, before the trouble? One pixel walks and its number is shown."
        case SearchMode.HALVING:
            number = None if search.halving is None else search.halving.pixel
            left = "" if search.halving is None else f" ({many(search.halving.most_looks, 'look')} at most)"
            return (
                "" if number is None else f"Pixel {shown_number(number)} is told to light green. Does it, alone?{left}"
            )
        case SearchMode.FINDING:
            return f"The suspects: {search.over}." if search.over else "The suspects."
        case SearchMode.REPAIR:
            return f"Repair: {filled(search.knowledge.cause(search.repairing).name, k)}"
        case SearchMode.COLOURS:
            if search.fits or len(search.looks) >= len(search.here.order):
                return "What the colours say:"
            sent = _COLOUR_WORDS["RGBW"[len(search.looks)]]
            return (
                f"Every pixel is told to be {sent}. What do the first {looked_at(search)} show?"
                " Letters for each (R, GW, - for dark); one word if all look alike."
            )
        case SearchMode.FLEX:
            return search.flex.prompt if search.flex is not None else ""
        case SearchMode.RETURN:
            return "Return wire: from the last pixel's data output through a divider to the board's input."
        case SearchMode.SOAK:
            return (
                "Long soak: look in from time to time. Say at once when something goes wrong, so that its time is kept."
            )
        case SearchMode.DONE:
            return search.outcome[0] if search.outcome else ""


def details(search: FaultSearch) -> tuple[str, ...]:
    """Lines below the headline: safety steps, cautions, remedies, the joint's sheet, what was found."""
    lines: list[str] = list(search.stop)
    match search.mode:
        case SearchMode.CONTEXT:
            lines += [
                "Hints, not certainty: unplug the machine at the wall before you touch wiring.",
                "Smell, heat or ticking at any time: F3, then off and unplug.",
            ]
        case SearchMode.QUESTION:
            lines += _question_details(search)
        case SearchMode.FINDING:
            lines += _finding_details(search)
        case SearchMode.REPAIR:
            lines += repair_lines(search)
        case SearchMode.FLEX:
            lines += [FLEX, "; ".join(ACTIONS)]
            if search.flex is not None:
                seen = ("lags",) if search.flex.pattern == "march" else ("dark", "odd")
                lines += [f"{word}: {meaning(search.flex.pattern, word)}" for word in seen]
        case SearchMode.RETURN:
            if search.returned is not None:
                lines.append(return_words(search.returned, search.length))
        case SearchMode.SOAK:
            lines += [SOAK]
        case SearchMode.DONE:
            lines += search.outcome[1:]
        case _:
            pass
    return tuple(lines)


def _question_details(search: FaultSearch) -> list[str]:
    asked = search.question
    if asked is None:
        return []
    lines = []
    if asked.power is ChainPower.SUPPLY:
        lines.append(SUPPLY_ALONE)
    elif asked.power is ChainPower.OFF or asked.who in (Who.METER_UNPOWERED, Who.JUMPER, Who.SWAP, Who.PROBE):
        lines.append(OFF_FIRST)
    elif asked.who is Who.METER_POWERED:
        lines.append(METERING)
    elif asked.who is Who.FLEX:
        lines.append(FLEX)
    if asked.meter:
        ranges = search.knowledge.ranges[asked.meter]
        sample = "volts, such as 4.93 or 120 mV" if ranges.unit == "V" else "ohms, such as 330, 4.7k, or OL for open"
        lines.append(f"Type the reading in {sample}." + (" Two readings: 1.42 / 0.01." if ranges.readings == 2 else ""))
    if asked.id == FLIP_QUESTION:
        lines.append(f"Tried now: {search.tried[0]}. Left and Right try others; the data speed is fixed in the board.")
    return lines


def _finding_details(search: FaultSearch) -> list[str]:
    found = search.diagnosis
    if found is None:
        return []
    k, lines = search.session.k, []
    if found.two_causes is not None:
        one, two = (filled(cause.name, k) for cause in found.two_causes)
        lines.append(f"Two at once explain it better: {one}; and {two}.")
    elif not found.explained:
        lines.append("No cause explains every answer: doubt the answers marked -.")
    for suspect in found.suspects:
        lines.append(f"{suspect.word}: {filled(suspect.cause.name, k)}")
        lines += [f"   or, with the same repair: {filled(cause.name, k)}" for cause in suspect.or_else]
        lines += [f"   {line}" for line in why(search.knowledge, search.session, suspect)[:4]]
    return [*lines, *search.handed_over]


def suspect_lines(search: FaultSearch, *, reasons: int = 0) -> tuple[str, ...]:
    """The suspects so far, with up to so many reasons each; none while nothing has been answered."""
    found = search.diagnosis
    if found is None or not search.session.questions_asked or search.mode in (SearchMode.LAST_GOOD, SearchMode.HALVING):
        return ()
    k, lines = search.session.k, []
    for place, suspect in enumerate(found.suspects, start=1):
        lines.append(f"{place}. {suspect.word}: {filled(suspect.cause.name, k)}")
        lines += [f"{_REASON}{line}" for line in why(search.knowledge, search.session, suspect)[:reasons]]
    return tuple(lines)


def repair_lines(search: FaultSearch) -> tuple[str, ...]:
    """What to do for the cause being repaired: remedy, cautions, and the sheet of the joint if one is opened."""
    cause, k = search.knowledge.cause(search.repairing), search.session.k
    lines = [f"Do: {filled(cause.remedy, k)}."]
    if cause.caution:
        lines.append(f"Caution: {filled(cause.caution, k)}.")
    at = -1 if cause.id in _HEAD_CAUSES else k
    opens = cause.id in _HEAD_CAUSES or cause.group in _JOINT_CAUSES or "joint" in cause.id
    if opens and at is not None:
        lines += sheet(search.map, search.chain, at)
    elif opens:
        lines += SOLDERING
    return tuple(lines)


def sheet(map_: PlayfieldMap, chain_id: str, k: int) -> tuple[str, ...]:
    """The joint's function and colour sheet with the cautions, k -1 for the joint at the board. To have beside the iron."""
    return (*joint_sheet(map_, chain_id, k), *SOLDERING)


def light_words(search: FaultSearch) -> tuple[bool, str]:
    """Whether the board has confirmed that it shows the light of this question, and what that is."""
    if not search.board.here:
        return False, "no board: on paper" if search.paper else "no board"
    if search.session.unsafe:
        return False, "all dark, for safety"
    running = search.running
    if search.mode is SearchMode.HALVING:
        return search.is_lit, "one pixel, dim green"
    if search.mode is SearchMode.RETURN:
        return False, "dark: the board counts"
    if running is None:
        return False, "dark"
    words = running.words + (", Right: next step" if running.by_key else "")
    trouble = f" ({running.trouble})" if running.trouble else ""
    return search.is_lit, words + trouble
