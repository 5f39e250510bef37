"""The sheet's first page: what a person at the cabinet needs in five years, on one page of A4 or Letter.

The picture with its numbers beside the list of what each lights; feeds and fuses; how to recheck; cautions. It is one page by
construction: its height is fixed, each part has so many lines at most, and a map with more pixels than fit is listed by area
instead of one by one (the list by number follows in any case).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from probe.cautions import CABINET
from probe.document.change_words import span
from probe.document.local_time import local_date
from probe.document.model import Chain, Pixel, PlayfieldMap
from probe.document.plural import many
from probe.document.proving import tally
from probe.document.wiring import feed_number
from probe.export.sheet_picture import DrawnPart, Picture, parts_of
from probe.export.sheet_text import bullets, clean, escape, own, section
from probe.harness.from_map import feeds_of

PICTURE_HEIGHT_MM = 218.0
PICTURE_WIDTH_MM = 92.0
MOST_LISTED = 105
"""Lines of the list by number that fit in three columns; `IN_TWO` of them in two."""
IN_TWO = 70
MOST_LINES = 8
"""Lines of feeds, and again of chains and supplies."""
LABEL_SIGNS = 34

RECHECK = (
    "Install playfield-probe on any computer with Python; its map file is named at the head of this sheet if the owner "
    "wrote it there.",
    "Glass off, room dark, board on its USB cable, pixels on their own supply.",
    "Run playfield-probe recheck MAP: it lights the chain so that a few answers tell whether every number is still at its "
    "place, and where pixels were added or taken out since.",
    "Without the program: light numbers 0, the middle and the last of each chain with the board's own orders "
    "(a bare serial terminal, 115200, order ? names the board) and compare with the map by number.",
    "After any splice: recheck, put the table into the board again, prove the lamps in the game, print this sheet anew.",
)


def first_page(map_: PlayfieldMap, *, from_below: bool = False) -> str:
    """The page, as a section of the sheet."""
    pictures = [Picture(map_, from_below=from_below, route=True, part=part) for part in _top_down(map_)]
    high = sum(picture.height / picture.width for picture in pictures)
    width_mm = min(PICTURE_WIDTH_MM, PICTURE_HEIGHT_MM / high)
    left = section(
        "Picture and route",
        "<p>Numbers are pixels of the chain; the line is the order of the wire, from its black mark on.</p>",
        *(picture.document(inline=True, width_mm=width_mm).strip() for picture in pictures),
        name="picture",
    )
    right = "\n".join(
        (
            section("Cautions", bullets(own(line) for line in CABINET), name="caution"),
            section("How to recheck", "<ol>" + "".join(f"<li>{own(line)}</li>" for line in RECHECK) + "</ol>"),
            section("Feeds and fuses", bullets([*_feeds(map_), *_supplies(map_), *_chains(map_)], name="feeds")),
            section("What each number lights", _numbers(map_)),
        )
    )
    return (
        f'<section class="first">\n{_head(map_)}\n<section class="two">\n{left}\n'
        f'<section class="beside">\n{right}\n</section>\n</section>\n</section>'
    )


def _top_down(map_: PlayfieldMap) -> Sequence[DrawnPart]:
    """What lies beyond the playfield is drawn above it, as it is seen."""
    return tuple(reversed(parts_of(map_)))


def _head(map_: PlayfieldMap) -> str:
    last = map_.revisions[-1] if map_.revisions else None
    pixels = sum(len(chain.pixels) for chain in map_.chains)
    revision = (
        "none yet"
        if last is None
        else f"{last.number} of {escape(local_date(last.time))}: {escape(last.reason, most=60)}"
    )
    if map_.pending:
        revision += f" and {many(len(map_.pending), 'change')} since, not closed yet"
    facts = [
        f"Revision {revision}.",
        f"Last proof in the game: {own(tally(map_).words)}.",
        f"{pixels} pixels, {len(map_.places)} places, {len(map_.lamps)} lamps; playfield "
        f"{map_.machine.width_mm:g} × {map_.machine.length_mm:g} mm.",
    ]
    facts += [escape(map_.machine.note, most=120)] if map_.machine.note else []
    facts.append("Map file, board, where kept:")
    return f"<h1>{escape(map_.machine.name, most=60)}</h1>\n<p>{' '.join(facts)}</p>"


def _feeds(map_: PlayfieldMap) -> Iterator[str]:
    def line(at: int) -> str:
        feed = map_.feeds[at]
        number = feed_number(map_, feed)
        chain = map_.chain_by_id.get(feed.chain)
        where = "no pixel of this map" if number is None or chain is None else f"{escape(chain.name, most=20)} {number}"
        fuse = "<b>fuse not noted</b>" if feed.fuse_a is None else f"<b>fuse {feed.fuse_a:g} A</b>"
        wire = "" if feed.wire is None else f", {own(feed.wire)}"
        return f"{fuse}: {escape(feed.name, most=24)} to {where}{wire}"

    yield from _most((line(at) for at in range(len(map_.feeds))), len(map_.feeds), "feeds")
    bare = [feed.chain for feed in feeds_of(map_) if feed.noted is None]
    yield from _most(
        (f"<b>no feed noted</b>: {escape(chain.name, most=20)}" for chain in bare), len(bare), "chains", most=4
    )


def _supplies(map_: PlayfieldMap) -> Iterator[str]:
    lines = (
        f"{escape(supply.name, most=24)}: {supply.volt:g} V"
        + ("" if supply.rating_a is None else f", {supply.rating_a:g} A")
        for supply in map_.supplies
    )
    return _most(lines, len(map_.supplies), "supplies", most=3)


def _chains(map_: PlayfieldMap) -> Iterator[str]:
    lines = (
        f"{escape(chain.name, most=20)}: output {chain.output}, {many(chain.length, 'pixel')} {own(chain.chip)}, {own(chain.order)}, "
        f"ceiling {chain.ceiling_ma} mA"
        for chain in map_.chains
    )
    return _most(lines, len(map_.chains), "chains", most=4)


def _most(lines: Iterable[str], count: int, what: str, *, most: int = MOST_LINES) -> Iterator[str]:
    """So many lines, and how many more there are."""
    for at, line in enumerate(lines):
        if at == most - 1 and count > most:
            yield f"and {count - at} more {what}, on the pages that follow"
            return
        yield line


def _numbers(map_: PlayfieldMap) -> str:
    rows = [row for chain in map_.chains for row in _by_pixel(map_, chain)]
    if len(rows) > MOST_LISTED:
        rows = [row for chain in map_.chains for row in _by_area(map_, chain)]
    if len(rows) > MOST_LISTED:
        rows = [*rows[: MOST_LISTED - 1], ("", "and more, listed by number on the pages that follow")]
    listed = "\n".join(f"<p><b>{own(numbers)}</b> {what}</p>" for numbers, what in rows)
    name = "list" if len(rows) <= IN_TWO else "list narrow"
    return f'<section class="{name}">\n{listed}\n</section>' if rows else "<p>No pixel is mapped yet.</p>"


def _letter(map_: PlayfieldMap, chain: Chain) -> str:
    """What stands before the numbers of all chains but the first, as in the picture."""
    at = next(n for n, other in enumerate(map_.chains) if other.id == chain.id)
    return chr(97 + at % 26) if at else ""


def _by_pixel(map_: PlayfieldMap, chain: Chain) -> Iterator[tuple[str, str]]:
    """Numbers and what they light, neighbours of one place together."""
    letter = _letter(map_, chain)

    def key(entry: tuple[int, Pixel]) -> tuple[str | None, str]:
        return entry[1].place, entry[1].state.value

    for (place, state), run in groupby(enumerate(chain.pixels), key=key):
        numbers = [number for number, _ in run]
        label = escape(map_.place_by_id[place].label, most=LABEL_SIGNS) if place is not None else own(state)
        flag = f" ({own(state)})" if place is not None and state != "placed" else ""
        yield letter + span(numbers[0], numbers[-1]), label + flag


def _by_area(map_: PlayfieldMap, chain: Chain) -> Iterator[tuple[str, str]]:
    letter = _letter(map_, chain)

    def area(entry: tuple[int, Pixel]) -> str:
        place = map_.place_of(entry[1])
        return clean(place.area, most=LABEL_SIGNS) if place is not None else entry[1].state.value

    for name, run in groupby(enumerate(chain.pixels), key=area):
        numbers = [number for number, _ in run]
        yield letter + span(numbers[0], numbers[-1]), escape(name) or "no area noted"
