"""The map as a table: every pixel a row, sorted and searched; what does not agree in it. A task that lights nothing itself.

Its light is that of the walk below, which goes where the table sends it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from probe.document.checks import check_map, where_words
from probe.document.model import Pixel, Place, PlayfieldMap, shown_number
from probe.document.operations import folded
from probe.document.proving import tally
from probe.document.revisions import changed_in, is_verified
from probe.mapping.walk_keys import GoTo
from probe.task import effects as fx
from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command
from probe.task.light import AsBelow, Light
from probe.task.task import BoardView, Next, Opened, Task, TaskState
from probe.task.views import Line, Row, RowsView

COLUMNS = ("Pixel", "State", "Seen", "Place", "Area", "Kind", "Lamps", "Note")
_MOST_NAME = 12

At = tuple[str, int]


@dataclass(frozen=True)
class PickRow:
    """The row in hand."""

    at: At


@dataclass(frozen=True)
class SearchFor:
    """Only rows that hold this text."""

    text: str


@dataclass(frozen=True)
class SortBy:
    """Sort by this column; None: by the next one."""

    column: int | None = None


@dataclass(frozen=True)
class WalkHere:
    """Back to the walk, at the row in hand."""


COMMANDS = (
    Command("table.leave", ("escape",), "Back", ev.Leave(), shown=True),
    Command("table.light_row", ("enter",), "Light this pixel", ev.Take()),
    Command("table.search", ("slash",), "Search", se.Search(), shown=True),
    Command("table.sort", ("f2",), "Sort", SortBy(), shown=True),
    Command("table.findings", ("f3",), "Findings", se.Details(), shown=True),
    Command("table.walk_here", ("f4",), "Walk from here", WalkHere(), shown=True),
    Command("table.revisions", ("f6",), "Revisions", ev.GoOpen("revisions")),
)


@dataclass(frozen=True, eq=False)
class Listing:
    """The rows and the findings of one map, searched and sorted; made once however often they are drawn."""

    map: PlayfieldMap
    wanted: str = ""
    sorted_by: int = 0

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """The rows to be shown."""
        return _rows(self.map, self.wanted, self.sorted_by)

    @cached_property
    def findings(self) -> tuple[Line, ...]:
        """What does not agree in the map."""
        return _findings(self.map)

    @cached_property
    def tally(self) -> str:
        """How much is proved in the game, if anything is."""
        return tally(self.map).short if self.map.proofs else ""


@dataclass(frozen=True, kw_only=True)
class MapTableState(TaskState):
    """Which row is in hand, and what is listed."""

    at: At
    listing: Listing


class TableTask(Task[MapTableState]):
    """Every pixel of the map, one row each."""

    name = "table"
    commands = COMMANDS
    own_revision = False

    def step(self, s: MapTableState, event: object, now_s: float) -> Next[MapTableState] | None:
        """The state after an event, and what is to be done."""
        match event:
            case PickRow(at):
                return replace(s, at=at), ()
            case SearchFor(text):
                return replace(s, listing=replace(s.listing, wanted=text)), ()
            case SortBy(column):
                column = (s.listing.sorted_by + 1) % len(COLUMNS) if column is None else column
                return replace(s, listing=replace(s.listing, sorted_by=column)), ()
            case ev.Take():
                chain, number = s.at
                return s, (fx.Below(GoTo(number, chain)), fx.Notify(f"lighting {shown_number(number)}"))
            case WalkHere():
                return s, (fx.Close(s.at),)
            case ev.GoOpen(task):
                return s, (fx.Instead(task),)
            case _:
                return None

    def seen(self, s: MapTableState, map_: PlayfieldMap | None, board: BoardView, unsaved: str) -> MapTableState:
        """With the rows of the map as it is now."""
        s = super().seen(s, map_, board, unsaved)
        return s if s.listing.map is s.map else replace(s, listing=replace(s.listing, map=s.map))

    def light(self, s: MapTableState) -> Light:
        """That of the walk."""
        return AsBelow()

    def view(self, s: MapTableState) -> RowsView:
        """The rows, the findings below."""
        listing = s.listing
        found = f"{len(listing.rows)} of {sum(len(c.pixels) for c in s.map.chains)} pixels"
        head = f"{s.map.machine.name} · {found} · sorted by {COLUMNS[listing.sorted_by].lower()}"
        if listing.tally:
            head += f" · {listing.tally}"
        if listing.wanted:
            head += f" · search: {listing.wanted}"
        return RowsView(
            head,
            COLUMNS,
            listing.rows,
            at=s.at,
            sort=listing.sorted_by,
            searched=listing.wanted,
            details=listing.findings,
            message=s.message,
            unsaved=s.unsaved,
            choose=lambda key: PickRow(key),  # type: ignore[arg-type]
            search=SearchFor,
            sorted=SortBy,
        )


def _rows(map_: PlayfieldMap, searched: str, sorted_by: int) -> tuple[Row, ...]:
    wanted = folded(searched)
    found: list[tuple[str, int, Pixel, Place | None]] = []
    for chain, number, pixel in map_.walk_pixels():
        place = map_.place_of(pixel)
        if wanted:
            words = [shown_number(number), pixel.state.value, pixel.note]
            words += [place.label, place.area, place.kind.value] if place else []
            if not any(wanted in folded(word) for word in words):
                continue
        found.append((chain, number, pixel, place))
    order = {chain.id: index for index, chain in enumerate(map_.chains)}
    changed = {chain.id: changed_in(map_, chain.id) for chain in map_.chains}
    keys = (
        lambda r: (order[r[0]], r[1]),
        lambda r: (r[2].state.value, order[r[0]], r[1]),
        lambda r: (is_verified(r[2], changed[r[0]]), order[r[0]], r[1]),
        lambda r: (r[3] is None, folded(r[3].label) if r[3] else "", r[1]),
        lambda r: (r[3] is None, folded(r[3].area) if r[3] else "", order[r[0]], r[1]),
        lambda r: (r[3] is None, r[3].kind.value if r[3] else "", order[r[0]], r[1]),
        lambda r: (r[3] is None or not r[3].lamps, r[3].lamps if r[3] else (), r[1]),
        lambda r: (not r[2].note, r[2].note, r[1]),
    )
    found.sort(key=keys[sorted_by])
    names = {chain.id: chain.name for chain in map_.chains}
    return tuple(
        Row((chain, number), _cells(chain, number, pixel, place, names, changed[chain]))
        for chain, number, pixel, place in found
    )


def _cells(
    chain: str, number: int, pixel: Pixel, place: Place | None, names: dict[str, str], changed: int
) -> tuple[str, ...]:
    name = names[chain] if len(names[chain]) <= _MOST_NAME else names[chain][: _MOST_NAME - 1] + "…"
    return (
        f"{name} {shown_number(number)}" if len(names) > 1 else shown_number(number),
        pixel.state.value,
        "✓" if is_verified(pixel, changed) else "? since change" if pixel.verified else "? never",
        place.label if place else "",
        place.area if place else "",
        place.kind.value if place else "",
        ", ".join(map(str, place.lamps)) if place else "",
        pixel.note or (place.note if place else ""),
    )


def _findings(map_: PlayfieldMap) -> tuple[Line, ...]:
    findings = check_map(map_)
    head = Line(f"{len(findings)} findings · in the game: {tally(map_).words}", "bold")
    lines = [Line(f"  {f.severity.value}: {where_words(map_, f.where)}: {f.what} - {f.what_to_do}") for f in findings]
    return (head, *lines)


def make(opened: Opened) -> tuple[TableTask, MapTableState]:
    """The table at the pixel (chain, number) that it is opened with."""
    assert opened.map is not None, "the table is opened with a map"
    match opened.facts:
        case (str() as chain, int() as number):
            at = (chain, number)
        case _:
            at = (opened.map.chains[0].id, 0)
    return TableTask(), MapTableState(map=opened.map, at=at, listing=Listing(opened.map))
