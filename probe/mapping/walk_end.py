"""The end of a chain and of the walk: does anything light past the stated count, what is left, and what comes next.

A count that is too small hides pixels for good, and nothing on the walk would show it. So before a chain counts as
finished a few pixels past its count are lit and asked about; if one lights, the count is corrected, typed or found by light.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

from probe.document.model import MAX_PIXELS, Chain, PixelState, PlayfieldMap, shown_number
from probe.document.operations import folded, set_count
from probe.document.plural import many
from probe.frozen import frozen
from probe.mapping.searches import SPAN, CountSearch
from probe.mapping.walk_keys import (
    ChangeCount,
    ChangeKind,
    GoTo,
    Move,
    PutAt,
    Say,
    ShowNext,
    ToggleBlink,
    TogglePaper,
    UseLine,
)
from probe.mapping.walk_state import EndStage, OneKey, Walk, WalkEnd, next_unseen
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.screen import ScreenEvent, WriteExport, WriteSheet
from probe.task.task import Next
from probe.task.views import Line, PictureView, TaskView

ALL_ANSWERED = "every pixel has been answered"
COUNTS = 5
"""How often the board counts by the return wire: all have to agree."""
NAMED = 6
"""How many numbers a row names at most."""
ROWS = 9
"""As many rows as there are digits to take them."""

_N = Next[Walk]
_Go = Callable[[Walk, str, int], _N]


@frozen
class NextStep:
    """A row of what comes next: an event for the walk, or for the screen."""

    words: str
    note: str = ""
    event: object = None


def at_end(s: Walk) -> bool:
    """Whether the page of the end is shown, with rows to choose from."""
    return s.end is not None and s.end.stage is not EndStage.COUNT


def asks_yes_or_no(s: Walk) -> bool:
    """Whether the page asks if anything lights."""
    return s.end is not None and s.end.stage in (EndStage.PAST, EndStage.SEARCH)


def end_of_chain(s: Walk) -> Walk | None:
    """The page that asks what lights past the end of the chain in hand; None where nothing can be lit there, or it was asked."""
    end = WalkEnd(EndStage.PAST)
    asked = replace(s, end=end, typed="", chosen=0)
    count = s.here.count
    if count is None or (s.chain, count) in s.ends or asked.past is None:
        return None
    return asked


def end_of_walk(s: Walk, go: _Go) -> Walk:
    """The page after the last unseen pixel: ends that nobody has looked at, then what comes next."""
    for chain in (s.here, *s.map.chains):
        there = s if chain.id == s.chain else go(s, chain.id, max(0, chain.length - 1))[0]
        if chain.length and (asked := end_of_chain(there)) is not None:
            return asked
    return replace(s, end=WalkEnd(EndStage.NEXT), typed="", chosen=0)


def end_step(s: Walk, event: object, go: _Go) -> _N | None:
    """What an event does on the page; None for what it does there as everywhere on the walk."""
    end = s.end
    if isinstance(event, ShowNext):
        return replace(s, end=WalkEnd(EndStage.NEXT), typed="", chosen=0, message=""), ()
    if isinstance(event, ChangeCount):
        return replace(s, end=WalkEnd(EndStage.COUNT, asked=True), typed="", chosen=0, message=""), ()
    if end is None:
        return None
    match event:
        case ev.Typed(text):
            return (replace(s, typed=text, message=""), ()) if end.stage is EndStage.COUNT else (s, ())
        case ev.Choose(by):
            size = len(end_rows(s))
            return (replace(s, chosen=(s.chosen + by) % size), ()) if size else (s, ())
        case ev.Answered(tag="count by wire", replies=replies) if end.by_wire:
            return _by_wire(s, replies, go)
        case ev.NotAnswered(tag="count by wire", why=why) if end.by_wire:
            return replace(s, end=replace(end, by_wire=False), message=why), (fx.Bell(),)
        case ev.Take() | ev.Typed() | ev.TakeRow() if end.by_wire:
            return s, ()
        case ev.Take() if end.stage is EndStage.COUNT:
            return _counted(s, s.typed.strip(), go)
        case ev.Take():
            return _row(s, s.chosen, go)
        case ev.TakeRow(row):
            return _row(s, row, go)
        case Say(OneKey.NOTHING_LIT) if asks_yes_or_no(s):
            return _row(s, 1, go)
        case ToggleBlink() if end.stage is EndStage.PAST:
            return _row(s, 2, go)
        case ev.Leave() if end.stage in (EndStage.COUNT, EndStage.SEARCH) and not end.asked:
            return replace(s, end=WalkEnd(EndStage.PAST), typed="", chosen=0, message=""), ()
        case ev.Leave():
            return replace(s, end=None, typed="", chosen=0, message=""), ()
        case Move(by) if by < 0:
            return go(s, s.chain, s.number)
        case Say() | UseLine() | ChangeKind() | PutAt() | TogglePaper():
            return replace(s, message="this is the end of the chain; Esc goes back to its last pixel"), (fx.Bell(),)
        case _:
            return None


def _row(s: Walk, row: int, go: _Go) -> _N:
    """A row of the page."""
    end = s.end
    if end is None or not 0 <= row < len(end_rows(s)):
        return s, ()
    s = replace(s, chosen=row, message="")
    if end.stage is EndStage.NEXT:
        from probe.document.needs import Need  # this and the checks: only the last page of a walk needs them

        step = next_steps(s.map)[row]
        match step.event:
            case GoTo(number, str() as chain) | Need("walk", _, _, str() as chain, int() as number):
                return go(s, chain, number)
            case Need(task, _, _, chain, number):
                where = (
                    chain or s.chain,
                    number if number is not None else s.number if chain in (None, s.chain) else 0,
                )
                return s, (fx.Open(task, where),)
            case ev.GoOpen(task):
                return s, (fx.Open(task, (s.chain, s.number)),)
            case ScreenEvent() as asked:
                return s, (fx.OnScreen(asked),)
            case _:
                return s, ()
    if end.stage is EndStage.PAST and row == 2:
        if s.steady_only:
            return replace(s, message="steady light only (settings): look once more, or turn it brighter"), ()
        return replace(s, blinking=not s.blinking), ()
    if end.stage is EndStage.PAST and row == len(end_rows(s)) - 1:
        return _on(s, f"whether {s.here.name} goes on past {shown_number(s.here.length - 1)} was not looked at", go)
    if not s.end_is_lit:
        return replace(s, message="wait: the board has not lit them yet"), (fx.Bell(),)
    if end.stage is EndStage.PAST:
        if row == 0:
            return replace(s, end=WalkEnd(EndStage.COUNT), typed="", chosen=0), ()
        return _on(s, f"{s.here.name} ends at {shown_number(s.here.length - 1)}", go)
    assert end.search is not None, "a search is under way"
    search = end.search.answered(something_lit=row == 0)
    if search.count is not None:
        return _corrected(s, search.count, go)
    return replace(s, end=replace(end, search=search), chosen=0), ()


def _on(s: Walk, words: str, go: _Go) -> _N:
    """The end of this chain has been looked at: on to what nobody has seen, to the end of another chain, or to what is next."""
    s = replace(s, ends=s.ends | {(s.chain, s.here.length)}, blinking=False)
    found = next_unseen(s.map, s.chain, s.number)
    if found is None:
        return replace(end_of_walk(replace(s, end=None), go), message=words), ()
    moved, effects = go(s, *found)
    return replace(moved, message=words), effects


def _counted(s: Walk, typed: str, go: _Go) -> _N:
    """The count as typed; with nothing typed it is looked for by light."""
    identity, asked = s.board.identity, s.end is not None and s.end.asked
    least, top = 1 if asked else s.here.length + 1, identity.pixels if identity is not None else MAX_PIXELS
    if folded(typed) in ("w", "wire", "return wire"):
        return _ask_by_wire(s)
    if not typed:
        if identity is None:
            return replace(s, message="no board to find it by light: plug it in, or type the number"), (fx.Bell(),)
        if least >= top:
            return _corrected(s, top, go)
        search = CountSearch(limit=top, least=least, span=SPAN if identity.has("range") else 1)
        return replace(s, end=WalkEnd(EndStage.SEARCH, search, asked), chosen=0, message=""), ()
    if not typed.isdecimal() or not least <= int(typed[:9]) <= top:
        why = (
            ""
            if asked
            else f": something lit past {shown_number(s.here.length - 1)}, and the board drives {top:,} at most"
        )
        return replace(s, message=f"type a number from {least:,} to {top:,}{why}"), (fx.Bell(),)
    return _corrected(s, int(typed), go)


def _ask_by_wire(s: Walk) -> _N:
    """Have the board count the chain by what comes back from its last pixel."""
    from device_protocol.orders import CountChain

    identity = s.board.identity
    if identity is None or not identity.has("count"):
        why = "this board has no input for a return wire" if identity is not None else "no board to count: plug it in"
        return replace(s, message=why), (fx.Bell(),)
    assert s.end is not None, "the count is asked for"
    orders = (CountChain(s.here.output, identity.pixels, COUNTS),)
    ask = fx.Ask(orders, "count by wire", "counting by the return wire")
    return replace(s, end=replace(s.end, by_wire=True), typed="", message=""), (ask,)


def _by_wire(s: Walk, replies: tuple[object, ...], go: _Go) -> _N:
    """What came back by the return wire: the count, if every count said the same."""
    from device_protocol.orders import ChainCount

    assert s.end is not None, "the count is asked for"
    s = replace(s, end=replace(s.end, by_wire=False))
    match replies:
        case (ChainCount(least=0, most=0),):
            why = "nothing came back: is the return wire on the last pixel's data output, and on the board's input?"
        case (ChainCount(least=least, most=most),) if least != most:
            why = f"the counts differ, {least} to {most}: look at the joints, or find it by light"
        case (ChainCount(most=count),):
            asked = s.end is not None and s.end.asked
            if asked or count > s.here.length:
                return _corrected(s, count, go)
            why = f"{many(count, 'pixel')} came back, but pixels past {s.here.length - 1} lit: look at the return wire"
        case _:
            why = "the board's answer was not understood: find it by light"
    return replace(s, message=why), (fx.Bell(),)


def _corrected(s: Walk, count: int, go: _Go) -> _N:
    """The chain has so many pixels: on at the first that was not known."""
    before = s.here.length
    map_ = set_count(s.map, s.chain, count)
    words = f"{s.here.name}: {many(count, 'pixel')} (was {before} · Ctrl+Z)"
    s = replace(s, map=map_, ends=s.ends | {(s.chain, count)}, end=None, blinking=False)
    moved, effects = go(s, s.chain, before if count > before else min(s.number, count - 1))
    return replace(moved, message=words), (fx.Commit(map_, words), *effects)


# -- what is to be seen -----------------------------------------------------------------------------------------------


def end_rows(s: Walk) -> tuple[Line, ...]:
    """The rows of the page, in their order."""
    match s.end:
        case WalkEnd(EndStage.PAST):
            last = shown_number(s.here.length - 1)
            blink = "let them stand still" if s.blinking else "let them blink"
            return (
                Line(f"Y  Yes: the chain is longer than {s.here.length}"),
                Line(f"N  No: the chain ends at {last}", note="(F2)"),
                Line(f"3  Not sure: {blink}"),
                Line("4  Go on without looking"),
            )
        case WalkEnd(EndStage.SEARCH):
            return (Line("Y  Yes, something lights"), Line("N  No, nothing lights", note="(F2)"))
        case WalkEnd(EndStage.NEXT):
            return tuple(
                Line(f"{n}  {step.words}", note=step.note) for n, step in enumerate(next_steps(s.map), start=1)
            )
        case _:
            return ()


_HEADS = {EndStage.NEXT: "what comes next", EndStage.COUNT: "its count"}


def end_view(s: Walk) -> TaskView:
    """The page: what was seen, the question or the steps, and what does not agree."""
    end = s.end
    assert end is not None, "there is a page"
    chain, past = s.here, s.past
    lit = "● LIT" if s.end_is_lit else "○ not lit: no board" if not s.board.here else "○ not lit yet"
    question, prompt, hint = "", "", ""
    match end.stage:
        case EndStage.PAST | EndStage.SEARCH if past is not None:
            question = f"{_run(*past)} {lit}. Does anything light?"
        case EndStage.PAST | EndStage.SEARCH:
            question = "What lights past the end waits for the board: it is lit as soon as one answers."
        case EndStage.COUNT:
            held = many(chain.length, "pixel") if chain.count is not None else "an open count"
            more = f"{chain.name} has more than {many(chain.length, 'pixel')}."
            question = f"{chain.name} has {held} in the map." if end.asked else more
            prompt, hint = "How many?", "type the number; Enter alone finds it by light, W and Enter by a return wire"
        case _:
            question = "What comes next, most useful first:"
    findings: tuple[str, ...] = ()
    if end.stage is EndStage.NEXT:
        from probe.document.checks import check_map

        findings = tuple(finding.what for finding in check_map(s.map))
    lines = [Line("What does not agree:", "bold"), *(Line(what, wrap=True) for what in findings)]
    return TaskView(
        head=f"{s.map.machine.name} · {chain.name} · {_HEADS.get(end.stage, 'the end')}",
        board=s.board.words,
        number=past[0] if past is not None else None if end.stage is EndStage.NEXT else chain.length,
        lit=s.end_is_lit,
        above=(Line(seen_so_far(chain), "bold", wrap=True), Line(question, "bold", wrap=True)),
        prompt=prompt,
        typed=s.typed if end.stage is EndStage.COUNT else None,
        items=end_rows(s),
        chosen=s.chosen,
        empty=(Line(hint, "dim", wrap=True),) if hint else (),
        details=tuple(lines) if findings else (),
        message=s.message or s.board.refused,
        unsaved=s.unsaved,
        picture=PictureView(),
    )


def _run(first: int, count: int) -> str:
    return f"Past the end: {first}" if count == 1 else f"Past the end: {first} to {first + count - 1}"


def seen_so_far(chain: Chain) -> str:
    """How many pixels of a chain are answered, by state: `84 of 84 seen: 79 placed, 2 dark`."""
    states = Counter(pixel.state for pixel in chain.pixels)
    seen = sum(n for state, n in states.items() if state is not PixelState.UNSEEN)
    parts = [
        f"{states[state]} {state.value}" for state in PixelState if state is not PixelState.UNSEEN and states[state]
    ]
    return f"{seen} of {chain.length} seen" + (f": {', '.join(parts)}" if parts else "")


def next_steps(map_: PlayfieldMap) -> tuple[NextStep, ...]:
    """What the map needs, then what is done with a map that is walked."""
    from probe.document.checks import check_map
    from probe.document.needs import needs

    steps = [NextStep(need.words, need.detail, need) for need in needs(map_)]
    for chain in map_.chains:
        dark = [n for n, pixel in enumerate(chain.pixels) if pixel.state in (PixelState.DARK, PixelState.DEAD)]
        if dark:
            where = f"{_named([str(n) for n in dark])} of {chain.name}"
            steps.append(NextStep(f"Look at {many(len(dark), 'dark pixel')}", where, GoTo(dark[0], chain.id)))
    findings = check_map(map_)
    if findings:
        steps.append(NextStep(f"See {many(len(findings), 'finding')} in the map table", "", ev.GoOpen("table")))
    steps.append(NextStep("Write the table into the board", "", ev.GoOpen("board")))
    steps.append(NextStep("Print the sheet for the cabinet", "", WriteSheet()))
    steps.append(NextStep("Export the map", "", WriteExport()))
    return tuple(steps[:ROWS])


def _named(names: list[str]) -> str:
    return ", ".join(names[:NAMED]) + (", …" if len(names) > NAMED else "")
