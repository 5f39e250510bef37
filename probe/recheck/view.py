"""What is to be seen of a recheck."""

from __future__ import annotations

from probe.document.model import Place, shown_number
from probe.document.plural import many
from probe.document.revisions import changed_in, verified_count
from probe.recheck.colours import colours_words, legend, look_spots, seen_at, signs_by_word
from probe.recheck.keys import PointAtPlace
from probe.recheck.state import ASKING, Does, Rechecking, RecheckItem, RecheckStage
from probe.task.views import MARK_SIGN, Line, PictureView, Spot, TaskView

_PROMPTS = {
    RecheckStage.DECLARE: "Changed:",
    RecheckStage.LOOK: "Place:",
    RecheckStage.COLOUR: "Colour:",
    RecheckStage.PROBE: "Place:",
}
_HOW_TO_SAY = (
    "3 new after PLACE · took out PLACE",
    "reversed PLACE to PLACE",
    "moved PLACE to PLACE after PLACE",
    "swapped PLACE and PLACE · replaced PLACE",
    "A PLACE may be a number: #14",
)


def view(s: Rechecking) -> TaskView:
    """The question, the places with their colours, the picture, and how sure the map is."""
    chain = s.here
    listed = s.stage in ASKING or s.stage is RecheckStage.OFFER
    return TaskView(
        head=f"Recheck · {s.map.machine.name} · {chain.name} (output {chain.output})",
        board=s.board.words,
        above=(Line(s.question, "bold", wrap=True), Line(_lit_words(s))),
        prompt=_PROMPTS.get(s.stage, ""),
        typed=s.typed if s.stage in _PROMPTS else None,
        items=tuple(_line(s, item) for item in s.items) if listed else (),
        chosen=min(s.chosen, max(0, len(s.items) - 1)),
        empty=_instead(s),
        message=s.message or _refused(s),
        unsaved=s.unsaved,
        progress=_progress(s),
        picture=_picture(s),
        second=_as_said(s) if s.stage in ASKING else None,
    )


def _lit_words(s: Rechecking) -> str:
    if s.stage in ASKING:
        if s.is_lit:
            return "● LIT: " + ("one pixel" if s.stage is RecheckStage.PROBE else "the whole chain in four colours")
        return "○ not lit yet" if s.board.here else "○ no board"
    return "Say each change, then Enter; or just Enter." if s.stage is RecheckStage.DECLARE else ""


def _refused(s: Rechecking) -> str:
    """Why the board does not show what is asked about, with the way round it."""
    if not s.board.refused:
        return ""
    return s.board.refused + (" (F5, P: go on with single pixels)" if s.look is not None and s.board.here else "")


def _line(s: Rechecking, item: RecheckItem) -> Line:
    """A line of the list: the colours that a place should show, its name, its area."""
    colours = f"{colours_words(item.colours, at=item.at, plain_ascii=s.plain_ascii):<10} " if item.colours else ""
    if item.does is Does.COLOUR:
        return Line(colours.rstrip())
    place = s.entries.place(item.entries[0]) if item.entries and s.entries is not None else None
    area = f" · {place.area}" if place is not None and place.area else ""
    return Line(f"{colours}{item.words}{area}")


def _instead(s: Rechecking) -> tuple[Line, ...]:
    """What stands where the list is, where nothing can be chosen."""
    if s.stage is RecheckStage.DECLARE:
        said = tuple(Line(f"{number}. {words}") for number, words in enumerate(s.declared, 1))
        gap = (Line(""),) if said else ()
        return (*said, *gap, *(Line(words, "dim") for words in _HOW_TO_SAY))
    return _result(s) if s.stage in (RecheckStage.DONE, RecheckStage.SAVED) else ()


def _result(s: Rechecking) -> tuple[Line, ...]:
    """What was found: how sure, how much of it was seen, and every change."""
    if s.stage is RecheckStage.SAVED:
        map_ = s.map
        lines = map_.revisions[-1].changes if map_.revisions else ()
    else:
        map_ = s.preview
        fresh = len(map_.revisions) > len(s.map.revisions)
        lines = map_.revisions[-1].changes if fresh else ("The map was right, and nothing is new.",)
    sure = s.now.confidence if s.now is not None else 0.0
    chain = map_.chain(s.chain)
    return (
        Line(f"{100 * sure:.2f} % sure that every number is right", "bold"),
        *_open(s),
        Line(f"{verified_count(map_, chain)} of {many(len(chain.pixels), 'pixel')} seen since the change"),
        Line(""),
        *(Line(line) for line in lines),
    )


def _open(s: Rechecking) -> tuple[Line, ...]:
    """What no answer settled: said before anybody relies on the map."""
    result = s.now.result if s.now is not None else None
    if result is None:
        return ()
    found: list[Line] = []
    if not result.proved:
        found.append(
            Line("Not proved: the answers leave more doubt than usual. Recheck once more, or walk the chain.", "bold")
        )
    if result.alike:
        found.append(
            Line("Other arrangements of pixels that nobody sees fit as well; nothing visible depends on which it is.")
        )
    if result.chance_alike > 0.0003:
        found.append(
            Line(
                f"{100 * result.chance_alike:.2f} % is for changes that these pictures cannot show, such as two single "
                "pixels exchanged. Another recheck shows other pictures.",
                wrap=True,
            )
        )
    entries = s.entries
    for chain, those in zip(entries.other_chains, entries.foreign, strict=True) if entries is not None else ():
        if any(one.old in those for one in result.numbers):
            name = s.map.chain(chain).name
            found.append(
                Line(
                    f"This chain goes on as {name}: their ends are exchanged. Recheck {name} too: nobody saw it yet.",
                    wrap=True,
                )
            )
    if result.stops_at is not None:
        found.append(
            Line(f"The data stop at pixel {shown_number(result.stops_at)}: nothing was taken out of the map there.")
        )
    return tuple(found)


def _progress(s: Rechecking) -> str:
    words = f" {many(s.answers, 'answer')}"
    if s.namings:
        words += f" · {many(s.namings, 'new pixel')} named"
    if s.now is not None:
        words += f" · {100 * s.now.confidence:.1f} % sure"
    changed = changed_in(s.map, s.chain)
    since = f" since revision {changed}" if changed else ""
    return words + f" · map: {verified_count(s.map, s.here)} of {len(s.here.pixels)} verified{since}"


def _picture(s: Rechecking) -> PictureView:
    """The chain as it should look, with a mark at the place in hand."""
    spots = look_spots(s.map, s.shown, plain_ascii=s.plain_ascii) if s.look is not None else ()
    place = _place_in_hand(s)
    if place is not None and place.position is not None:
        shown = colours_words(s.shown.get(place.id, ()), at=seen_at(s.map, place), plain_ascii=s.plain_ascii)
        sign = shown[:1] or MARK_SIGN
        spots = (*spots, Spot(place.position, sign, "mark"))
    return PictureView(
        spots,
        point=PointAtPlace if s.stage in (RecheckStage.LOOK, RecheckStage.PROBE) else None,
        title="Map says" if s.stage in ASKING else "",
        at=place.id if place is not None else None,
        legend=legend(plain_ascii=s.plain_ascii) if s.look is not None else "",
        seen_on_request=True,
        seen_signs=signs_by_word(plain_ascii=s.plain_ascii),
    )


def _place_in_hand(s: Rechecking) -> Place | None:
    """The place of the marked row, or the one whose colour is asked for."""
    if s.stage not in ASKING:
        return None
    at = s.pointed if s.stage is RecheckStage.COLOUR else s.item
    return s.entries.place(at.entries[0]) if at and at.entries and s.entries else None


def _as_said(s: Rechecking) -> PictureView:
    """What was said of this look so far: rows above the marked one are as listed, the marked one is asked about."""
    shown: dict[str, tuple[int, ...]] = {}
    rows = s.items[: s.chosen] if s.stage is RecheckStage.LOOK else ()
    for row in rows:
        place = s.entries.place(row.entries[0]) if row.entries and s.entries is not None else None
        if place is not None:
            shown[place.id] = row.colours
    spots = look_spots(s.map, shown, plain_ascii=s.plain_ascii)
    place = _place_in_hand(s)
    if place is not None and place.position is not None:
        spots = (*spots, Spot(place.position, MARK_SIGN, "mark"))
    return PictureView(spots, title="As you say", seen_signs=signs_by_word(plain_ascii=s.plain_ascii))
