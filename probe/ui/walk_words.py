"""What the screen of the walk says, as content: the number, what it lights, the offers, how far it has come."""

from __future__ import annotations

from textual.content import Content

from probe.document.model import PixelState, shown_number
from probe.document.revisions import seen_words
from probe.mapping.keys import Entry
from probe.mapping.walk_state import Walk
from probe.ui.text import cut, plain

_BAR = 20
_NARROWEST_LABEL = 6


def lit_line(walk: Walk) -> Content:
    """Which pixel it is, whether the board has said that it is lit, and when it was last seen."""
    of = f" of {walk.here.length}" if walk.here.count else ", count open"
    number = f"{shown_number(walk.number)}{of}"
    if walk.is_lit:
        lit = "● LIT" + (", blinking" if walk.blinking else "")
    elif walk.board.here:
        lit = "○ " + ("blinking" if walk.blinking else "not lit yet")
    else:
        lit = "○ " + ("on paper" if walk.paper else "no board")
    answered = walk.pixel.state is not PixelState.UNSEEN
    seen = f"   {seen_words(walk.map, walk.chain, walk.pixel)}" if answered else ""
    return Content(f"{number}   {lit}{seen}")


def now_line(walk: Walk) -> Content:
    """What the map says of this pixel now."""
    pixel, place = walk.pixel, walk.place
    if place is not None:
        words = f"{pixel.state.value}: {place.label}" + (f" · {place.area}" if place.area else "")
        words += f" · {place.kind.value}"
    elif pixel.state is PixelState.UNSEEN:
        words = f"unseen   (new: {walk.next_area or 'no area'} · {walk.next_kind.value})"
    else:
        words = pixel.state.value
    return plain(words + (f"   note: {pixel.note}" if pixel.note else ""))


def offer_lines(walk: Walk, *, width: int, rows: int, plain_ascii: bool = False) -> Content:
    """The offers round the chosen one, as many as `rows` hold, each cut to `width` cells; or the board's trouble."""
    if walk.board.trouble and not walk.typed and not walk.paper:
        return plain(walk.board.trouble)
    lines: list[Content] = []
    chosen = walk.chosen % len(walk.offers) if walk.offers else 0
    first = max(0, chosen - rows + 1)
    for index, offer in enumerate(walk.offers[first : first + rows], start=first):
        head = "Enter ▸ " if index == chosen else "        "
        if plain_ascii:
            head = head.replace("▸", ">")
        why = f"  ({offer.why})"
        label = cut(offer.label, max(_NARROWEST_LABEL, width - len(head) - len(why)))
        line = Content(head).append(plain(label, "bold" if index == chosen else "")).append(plain(why, "dim"))
        lines.append(line)
    if not lines and walk.entry is Entry.LABEL:
        lines.append(Content("type its name; the first letters of a known one will do").stylize("dim"))
    return Content("\n").join(lines)


def progress_line(walk: Walk, *, plain_ascii: bool = False) -> Content:
    """How many pixels are answered, how fast it goes, and how long it will take at that pace."""
    done, length = walk.answered, walk.here.length
    if walk.here.count:
        filled = _BAR * done // max(1, length)
        bar = ("#" * filled).ljust(_BAR, ".") if plain_ascii else ("█" * filled).ljust(_BAR, "░")
        words = f" {bar} {done} of {length}"
    else:
        words = f" {done} answered"
    if walk.pace_s is not None:
        words += f" · {walk.pace_s:.1f} s each"
    if walk.left_s is not None:
        minutes, seconds = divmod(round(walk.left_s), 60)
        words += f" · {minutes}:{seconds:02d} left"
    return Content(words)
