"""What is to be seen of a walk, and its commands."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from probe.document.joining import open_rows
from probe.document.model import PixelState, Position, shown_number
from probe.document.operations import free_output
from probe.document.plural import many
from probe.document.revisions import seen_words
from probe.mapping.walk_end import asks_yes_or_no, at_end, end_view
from probe.mapping.walk_keys import (
    ChangeCount,
    ChangeKind,
    Move,
    PutAt,
    Say,
    SetUpChain,
    ShowNext,
    ToggleBlink,
    TogglePaper,
    UseLine,
)
from probe.mapping.walk_state import OneKey, Walk, WalkEntry
from probe.task import events as ev
from probe.task.command import Command, Means, MenuGroup, rows_by_digit
from probe.task.screen import FlipPicture, MarkInPicture, NextZoom, ShowRoute
from probe.task.views import LIT_SIGN, MARK_SIGN, Line, Pane, PictureView, Spot, TaskView

_BAR = 20
_PROMPTS = {
    WalkEntry.LABEL: "What lights?",
    WalkEntry.NOTE: "Note on this pixel:",
    WalkEntry.AREA: "Area:",
    WalkEntry.GOTO: "Go to number:",
}


def _walks(s: Walk) -> bool:
    return s.end is None


def _asks_what_lights(s: Walk) -> bool:
    """Not while the line is for a note, an area or a number: an answer would throw away what is typed there."""
    return s.end is None and s.entry is WalkEntry.LABEL


def _can_say_no(s: Walk) -> bool:
    return _asks_what_lights(s) or asks_yes_or_no(s)


def _has_last(s: Walk) -> bool:
    return s.last_place is not None and _asks_what_lights(s)


def _has_free_output(s: Walk) -> bool:
    """Whether the board has an output without a chain; without a board that is not known."""
    return s.board.identity is None or free_output(s.map) < s.board.identity.outputs


def _what_esc_does(s: Walk) -> str:
    """It empties or closes the line and leaves the page at the end, before it leaves the walk."""
    return "Back" if s.typed or s.waiting or not _asks_what_lights(s) else "What next"


COMMANDS = (
    Command("walk.take", Means.DO, "Take", ev.Take(), shown=True),
    Command("walk.say.NOTHING_LIT", Means.NO, "Nothing lit", Say(OneKey.NOTHING_LIT), shown=True, when=_can_say_no),
    Command("walk.say.HIDDEN", Means.YES_BUT, "Hidden", Say(OneKey.HIDDEN), shown=True, when=_asks_what_lights),
    Command(
        "walk.say.SAME_PLACE",
        Means.AS_WELL,
        "Same place as the last",
        Say(OneKey.SAME_PLACE),
        shown=True,
        when=_has_last,
        short="Same place",
    ),
    Command("walk.say.SPARE", Means.MORE, "Spare", Say(OneKey.SPARE), when=_asks_what_lights, letter="s"),
    Command("walk.say.REPEATER", Means.MORE, "Repeater", Say(OneKey.REPEATER), when=_asks_what_lights, letter="r"),
    Command("walk.ask.NOTE", Means.MORE, "Note", UseLine(WalkEntry.NOTE), letter="n"),
    Command("walk.ask.AREA", Means.MORE, "Area", UseLine(WalkEntry.AREA), letter="a"),
    Command("walk.kind", Means.MORE, "Kind", ChangeKind(), letter="k", stays=True),
    Command("walk.ask.GOTO", Means.FIND, "Go to a number", UseLine(WalkEntry.GOTO)),
    Command("walk.forward", Means.ONWARD, "Next pixel", Move(1)),
    Command("walk.backward", Means.BEFORE, "Pixel before", Move(-1)),
    Command("walk.unseen", Means.NEXT_OPEN, "Next unseen", Move(unseen=True)),
    Command("walk.blink", Means.LIGHT, "Blink", ToggleBlink(), letter="b"),
    Command("walk.level.1", Means.LIGHT, "Brighter", ev.ChangeLevel(1), letter="up", stays=True),
    Command("walk.level.-1", Means.LIGHT, "Dimmer", ev.ChangeLevel(-1), letter="down", stays=True),
    Command("walk.choose.1", Means.DOWN, "Next offer", ev.Choose(1)),
    Command("walk.choose.-1", Means.UP, "Offer before", ev.Choose(-1)),
    Command("walk.undo", Means.UNDO, "Undo", ev.Undo()),
    Command("walk.redo", Means.REDO, "Redo", ev.Redo()),
    Command("walk.point", Means.PICTURE, "Point at the place in the picture", MarkInPicture(), letter="p"),
    Command("walk.point.left", Means.LEFT, "Point in the picture, further left", MarkInPicture(-1), when=_walks),
    Command("walk.point.right", Means.RIGHT, "Point in the picture, further right", MarkInPicture(1), when=_walks),
    Command("walk.paper", Means.IN_MENU, "Paper entry on or off", TogglePaper(), letter="p", group=MenuGroup.MAP),
    Command("walk.retry", Means.AGAIN, "Save and light again", ev.Retry()),
    Command("walk.zoom", Means.PICTURE, "Whole, half, area", NextZoom(), letter="z", stays=True),
    Command("walk.route", Means.PICTURE, "How the chain runs", ShowRoute(), letter="r", stays=True),
    Command("walk.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("walk.next_chain", Means.NEXT_KIND, "Next chain", ev.NextChain()),
    Command("walk.leave", Means.BACK, "What next", ev.Leave(), shown=True, short=_what_esc_does),
    Command("walk.needs", Means.IN_MENU, "What this map needs", ShowNext(), letter="w", group=MenuGroup.MAP),
    Command("walk.count", Means.IN_MENU, "Count of this chain", ChangeCount(), letter="c", group=MenuGroup.MAP),
    Command(
        "walk.chain",
        Means.IN_MENU,
        "Another chain: set it up",
        SetUpChain(),
        when=_has_free_output,
        letter="a",
        group=MenuGroup.MAP,
    ),
    Command(
        "walk.yes", Means.BY_LETTER, "At the end: yes, something lights", ev.TakeRow(0), when=asks_yes_or_no, letter="y"
    ),
    Command(
        "walk.no", Means.BY_LETTER, "At the end: no, nothing lights", ev.TakeRow(1), when=asks_yes_or_no, letter="n"
    ),
    *rows_by_digit("walk", 9, when=at_end),
)


def view(s: Walk) -> TaskView:
    """The number, what it lights, the entry line with its offers, and the picture; or the page at the end."""
    if s.end is not None:
        return end_view(s)
    chain = s.here
    on_paper = s.paper and not s.board.here
    trouble = s.board.trouble if s.board.trouble and not s.typed and not s.paper else ""
    hint = "type its name; the first letters of a known one will do" if s.entry is WalkEntry.LABEL else ""
    return TaskView(
        head=f"{s.map.machine.name} · {chain.name} (output {chain.output})",
        board="paper entry, no board" if on_paper else s.board.words,
        number=s.number,
        lit=s.is_lit or on_paper,
        above=(_lit_line(s), *_now_lines(s), *((Line(s.was, "bold"),) if s.was else ())),
        prompt=_PROMPTS[s.entry],
        typed=s.typed,
        items=() if trouble else tuple(Line(offer.label, note=f"({offer.why})") for offer in s.offers),
        chosen=s.chosen % len(s.offers) if s.offers else 0,
        marker="Enter ▸ ",
        empty=(Line(trouble, wrap=True),) if trouble else (Line(hint, "dim", wrap=True),) if hint else (),
        message=_message(s),
        unsaved=s.unsaved,
        progress=_progress(s),
        picture=_picture(s),
        panes=partial(_panes, s),
    )


def _message(s: Walk) -> str:
    if s.message or s.board.refused:
        return s.message or s.board.refused
    if s.waiting:
        return f"waiting for light: {', '.join(waiting.typed for waiting in s.waiting)}"
    return ""


def _lit_line(s: Walk) -> Line:
    """Which pixel it is, whether the board has confirmed that it is lit, and when it was last seen."""
    of = f" of {s.here.length}" if s.here.count else ", count open"
    if s.is_lit:
        state = "● LIT" + (", blinking" if s.blinking else "")
    elif s.board.here:
        state = "○ " + ("blinking" if s.blinking else "not lit yet")
    else:
        state = "○ " + ("on paper" if s.paper else "no board")
    answered = s.pixel.state is not PixelState.UNSEEN
    seen = f"   {seen_words(s.map, s.chain, s.pixel)}" if answered else ""
    return Line(f"{shown_number(s.number)}{of}   {state}{seen}", "bold")


def _now_lines(s: Walk) -> Iterator[Line]:
    """What the map holds of this pixel now."""
    pixel, place, more = s.pixel, s.place, ""
    if place is not None:
        words = place.label if pixel.state is PixelState.PLACED else f"{pixel.state.value}: {place.label}"
        more = " · ".join(part for part in (place.area, place.kind.value) if part)
    elif pixel.state is PixelState.UNSEEN:
        words = f"unseen   (new: {s.next_area or 'no area'} · {s.next_kind.value})"
    else:
        words = pixel.state.value
    yield Line(words, note=more)
    if pixel.note:
        yield Line(f"note: {pixel.note}", "dim", wrap=True)


def _progress(s: Walk) -> str:
    """How many pixels are answered, how fast it goes, and how long it will take at that pace."""
    done, length = s.answered, s.here.length
    if s.here.count:
        filled = _BAR * done // max(1, length)
        words = f" {('█' * filled).ljust(_BAR, '░')} {done} of {length}"
    else:
        words = f" {done} answered"
    if s.pace_s is not None:
        words += f" · {s.pace_s:.1f} s each"
    if s.left_s is not None:
        minutes, seconds = divmod(round(s.left_s), 60)
        words += f" · {minutes}:{seconds:02d} left"
    return words


def _panes(s: Walk, rows: int) -> tuple[Pane, ...]:
    """What is around the pixel in hand, and what is left."""
    return Pane("Along the chain", tuple(_around(s, rows))), Pane("Still to do", tuple(_left(s, rows)))


def _around(s: Walk, rows: int) -> Iterator[Line]:
    """As many pixels as there are rows, the one in hand amid them."""
    pixels = s.here.pixels
    first = max(0, min(s.number - (rows - 1) // 2, s.here.length - rows))
    for number in range(first, min(s.here.length, first + rows)):
        pixel = pixels[number] if number < len(pixels) else None
        place = s.map.place_of(pixel) if pixel is not None else None
        words = place.label if place is not None else pixel.state.value if pixel is not None else "unseen"
        if place is not None and pixel is not None and pixel.state is not PixelState.PLACED:
            words += f", {pixel.state.value}"
        here = number == s.number
        yield Line(f"{'▸' if here else ' '} {number:>4}  {words}", "bold" if here else "")


def _left(s: Walk, most: int) -> Iterator[Line]:
    for chain in s.map.chains:
        unseen = chain.length - chain.answered
        none = "every pixel seen" if chain.count else "its count is open"
        yield Line(f"{chain.name}: {many(unseen, 'pixel') + ' unseen' if unseen else none}")
    rows = open_rows(s.map)
    if s.map.lamps:
        yield Line(f"{many(len(rows), 'lamp')} without a pixel" if rows else "every lamp has a pixel")
        for lamp in rows[: max(0, most - 1 - len(s.map.chains))]:
            yield Line(f"  {lamp.name}", "dim", f"lamp {lamp.number}" if lamp.number is not None else "")


def _picture(s: Walk) -> PictureView:
    """The place that is lit, or where the chosen offer would be."""
    spots: tuple[Spot, ...] = ()
    here = s.place
    if here is not None and here.position is not None:
        spots = (Spot(here.position, LIT_SIGN, "lit" if s.is_lit else "offered", here.label),)
    elif here is None and s.offer is not None and s.offered_at is not None:
        spots = (Spot(s.offered_at, MARK_SIGN, "offered", s.offer.label),)
    near = here or s.last_place
    machine = s.map.machine
    middle = Position(x_mm=machine.width_mm / 2, y_mm=machine.length_mm / 2)
    begin = spots[0].position if spots else near.position if near is not None and near.position is not None else middle
    return PictureView(spots, point=PutAt, start=begin, chain=s.chain)
