"""The map as a table: every pixel a row, sorted, searched and changed; what does not agree in it. A task that lights nothing
itself.

Its light is that of the walk below, which goes where the table sends it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from probe.document.checks import check_map, where_words
from probe.document.model import Chain, Pixel, PixelState, Place, PlayfieldMap, shown_number
from probe.document.operations import folded
from probe.document.plural import many
from probe.document.proving import tally
from probe.document.revisions import changed_in, is_verified, seen_words, verified_count
from probe.mapping.table_edit import FROM_LIST, At, CannotChangeError, Column, changed, offers_for, unsettled, value_now
from probe.mapping.walk_keys import GoTo
from probe.task import effects as fx
from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command, Means, MenuGroup, change_rows
from probe.task.light import AsBelow, Light
from probe.task.task import BoardView, Next, Opened, Task, TaskState
from probe.task.views import Line, Row, RowsView, Spot, in_hand

COLUMNS = ("Pixel", "State", "Seen", "Place", "Area", "Kind", "Lamps", "Note")
_MOST_NAME = 12


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
class MarkRow:
    """Mark the row in hand as well, or no more, and go on to the next."""


@dataclass(frozen=True)
class MarkAll:
    """Mark every row that is shown; if they all are, none."""


@dataclass(frozen=True)
class EditRows:
    """Change this in the marked rows; in the row in hand if none is marked."""

    column: Column


@dataclass(frozen=True)
class PickChain:
    """Choose a chain, each with its progress."""


@dataclass(frozen=True)
class WalkHere:
    """Back to the walk, at the row in hand."""


def _lists(s: MapTableState) -> bool:
    return s.edit is None and not s.chains


def _asks(s: MapTableState) -> bool:
    return not _lists(s)


COMMANDS = (
    Command("table.back", Means.TABLE, "Back from the table", ev.Leave()),
    Command("table.leave", Means.BACK, "Back", ev.Leave(), shown=True),
    Command("table.light_row", Means.DO, "Light this pixel", ev.Take(), shown=_lists, short="Light it"),
    Command(
        "table.edit.NAME",
        Means.MORE,
        "Name",
        EditRows(Column.NAME),
        shown=True,
        when=_lists,
        letter="n",
        short="Change",
    ),
    Command("table.edit.AREA", Means.MORE, "Area", EditRows(Column.AREA), when=_lists, letter="a"),
    Command("table.edit.KIND", Means.MORE, "Kind", EditRows(Column.KIND), when=_lists, letter="k"),
    Command("table.edit.STATE", Means.MORE, "State", EditRows(Column.STATE), when=_lists, letter="s"),
    Command("table.edit.NOTE", Means.MORE, "Note", EditRows(Column.NOTE), when=_lists, letter="t"),
    Command("table.edit.PHOTO", Means.MORE, "Photo of the place", EditRows(Column.PHOTO), when=_lists, letter="p"),
    Command(
        "table.edit.JOINT_PHOTO",
        Means.MORE,
        "Photo of the joint before it",
        EditRows(Column.JOINT_PHOTO),
        when=_lists,
        letter="j",
    ),
    Command("table.sort", Means.MORE, "Sort", SortBy(), letter="o", stays=True),
    Command("table.findings", Means.MORE, "Findings", se.Details(), letter="f", group=MenuGroup.MAP),
    Command("table.walk_here", Means.MORE, "Walk from here", WalkHere(), letter="w"),
    Command("table.mark_all", Means.MORE, "Mark all rows shown, or none", MarkAll(), when=_lists, letter="m"),
    Command("table.mark", Means.AS_WELL, "Mark this row too", MarkRow(), shown=True, when=_lists, short="Mark"),
    Command("table.search", Means.FIND, "Search", se.Search(), shown=True, when=_lists),
    Command("table.chain", Means.NEXT_KIND, "Chains", PickChain(), when=_lists),
    Command("table.choose.1", Means.DOWN, "Next offer", ev.Choose(1), when=_asks),
    Command("table.choose.-1", Means.UP, "Offer before", ev.Choose(-1), when=_asks),
    *change_rows("table"),
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
    """Which row is in hand, which others are marked, and what is listed.

    `edit`: what is being changed in the rows, with what is `typed` so far, and the offer that is chosen; of an area 0 is what is typed.
    `sure`: the change that proved pixels would lose by, asked about once. `chains`: a chain is being chosen.
    """

    at: At
    listing: Listing
    marked: frozenset[At] = frozenset()
    edit: Column | None = None
    typed: str = ""
    chosen: int = 0
    sure: object = None
    chains: bool = False

    @property
    def targets(self) -> tuple[At, ...]:
        """The rows that a change is for, in the map's order."""
        if not self.marked:
            return (self.at,)
        return tuple((c, n) for c, n, _ in self.map.walk_pixels() if (c, n) in self.marked)

    @property
    def offers(self) -> tuple[str, ...]:
        """Values to choose from; the one that is chosen, is taken."""
        if self.edit is None:
            return ()
        as_it_is = self.edit is Column.AREA and self.typed == value_now(self.map, self.targets[0], self.edit)
        return offers_for(self.map, self.edit, "" if as_it_is else self.typed)

    @property
    def chains_offered(self) -> tuple[Chain, ...]:
        """The chains whose name holds what is typed, while one is chosen."""
        return tuple(chain for chain in self.map.chains if self.chains and folded(self.typed) in folded(chain.name))

    @property
    def value(self) -> str:
        """What Enter takes."""
        at = self.chosen - 1 if self.edit is Column.AREA else self.chosen
        return self.offers[at] if 0 <= at < len(self.offers) else self.typed

    @property
    def choices(self) -> int:
        """How many things there are to choose from."""
        return len(self.chains_offered) + len(self.offers) + (self.edit is Column.AREA)


class TableTask(Task[MapTableState]):
    """Every pixel of the map, one row each."""

    name = "table"
    commands = COMMANDS

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
            case ev.Typed(text) if s.edit is not None or s.chains:
                return replace(s, typed=text, chosen=0, message="", sure=None), ()
            case ev.Choose(by) if s.edit is not None or s.chains:
                return replace(s, chosen=(s.chosen + by) % max(1, s.choices), message="", sure=None), ()
            case ev.Take() if s.edit is not None:
                return self._change(s, s.edit)
            case ev.Take() if s.chains:
                if not s.chains_offered:
                    return replace(s, message="no chain is called so"), (fx.Bell(),)
                at = (s.chains_offered[s.chosen].id, 0)
                listing = replace(s.listing, wanted="", sorted_by=0)
                return replace(s, at=at, listing=listing, chains=False, typed="", chosen=0, message=""), ()
            case ev.Leave() if s.edit is not None or s.chains:
                return replace(s, edit=None, chains=False, typed="", chosen=0, sure=None, message=""), ()
            case ev.Leave() if s.marked:
                return replace(s, marked=frozenset(), message=""), ()
            case MarkRow():
                return self._marked(s), ()
            case MarkAll():
                shown = frozenset(row.key for row in s.listing.rows)
                marked = s.marked - shown if shown <= s.marked else s.marked | shown
                return replace(s, marked=marked, message=f"{many(len(marked), 'row')} marked"), ()  # type: ignore[arg-type]
            case EditRows(column):
                now, listed = value_now(s.map, s.targets[0], column), offers_for(s.map, column, "")
                if column in FROM_LIST:
                    chosen = listed.index(now) if now in listed else 0
                    return replace(s, edit=column, typed="", chosen=chosen, sure=None, message=""), ()
                return replace(s, edit=column, typed=now, chosen=0, sure=None, message=""), ()
            case PickChain():
                chosen = next(n for n, chain in enumerate(s.map.chains) if chain.id == s.at[0])
                return replace(s, chains=True, typed="", chosen=chosen, message=""), ()
            case ev.Take():
                chain, number = s.at
                return s, (fx.Below(GoTo(number, chain)), fx.Notify(f"lighting {shown_number(number)}"))
            case ev.MapChanged(words, (str() as chain, int() as number)):
                return replace(s, at=(chain, number), message=words), ()
            case WalkHere():
                return s, (fx.Close(s.at),)
            case ev.GoOpen(task):
                return s, (fx.Instead(task),)
            case _:
                return None

    def _marked(self, s: MapTableState) -> MapTableState:
        """The row in hand marked, or no more; the next one in hand."""
        keys = [row.key for row in s.listing.rows]
        if s.at not in keys:
            return s
        marked = s.marked ^ {s.at}
        following = keys[min(len(keys) - 1, keys.index(s.at) + 1)]
        message = f"{many(len(marked), 'row')} marked" if marked else ""
        return replace(s, at=following, marked=marked, message=message)  # type: ignore[arg-type]

    def _change(self, s: MapTableState, column: Column) -> Next[MapTableState]:
        """All rows at once, as one change with one undo; a proved pixel by the second press only."""
        targets, text = s.targets, s.value
        try:
            done = changed(s.map, targets, column, text)
        except CannotChangeError as why:
            return replace(s, message=str(why)), (fx.Bell(),)
        lost = unsettled(s.map, done.map, targets)
        asked = (targets, column, text)
        if lost and s.sure != asked:
            numbers = ", ".join(str(number) for _, number in lost[:6]) + (" …" if len(lost) > 6 else "")
            return replace(s, sure=asked, message=f"{numbers}: seen to be right before. Enter again changes it"), (
                fx.Bell(),
            )
        closed = replace(
            s, edit=None, typed="", chosen=0, sure=None, message=f"{done.words} · Ctrl+Z", marked=frozenset()
        )
        if done.map == s.map:
            return replace(closed, message="as it was"), ()
        return closed, (fx.Commit(done.map, done.words),)

    def where(self, s: MapTableState) -> object:
        """The row in hand."""
        return s.at

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
            _marks(listing.rows, s.marked),
            at=s.at,
            sort=listing.sorted_by,
            searched=listing.wanted,
            prompt=_prompt(s),
            typed=s.typed if s.edit is not None or s.chains else None,
            items=_items(s),
            chosen=s.chosen - 1 if s.edit is Column.AREA else s.chosen,
            beside=(_in_full(s),),
            details=listing.findings,
            message=s.message,
            unsaved=s.unsaved,
            choose=lambda key: PickRow(key),  # type: ignore[arg-type]
            search=SearchFor,
            sorted=SortBy,
            spots=_spots(s),
        )


_BAR = 10


def _marks(rows: tuple[Row, ...], marked: frozenset[At]) -> tuple[Row, ...]:
    if not marked:
        return rows
    return tuple(
        replace(row, cells=(f"■ {row.cells[0]}", *row.cells[1:]), style="bold") if row.key in marked else row
        for row in rows
    )


def _prompt(s: MapTableState) -> str:
    if s.chains:
        return "Chain:"
    if s.edit is None:
        return ""
    rows = s.targets
    of = shown_number(rows[0][1]) if len(rows) == 1 else many(len(rows), "row")
    numbered = " (a number at its end counts up)" if s.edit is Column.NAME and len(rows) > 1 else ""
    return f"{s.edit.value.capitalize()} of {of}{numbered}:"


def _items(s: MapTableState) -> tuple[Line, ...]:
    """What there is to choose from: values, or chains."""
    if s.chains:
        return tuple(_chain_line(s.map, chain) for chain in s.chains_offered)
    return tuple(Line(value) for value in s.offers)


def _chain_line(map_: PlayfieldMap, chain: Chain) -> Line:
    done = sum(pixel.state is not PixelState.UNSEEN for pixel in chain.pixels)
    filled = _BAR * done // max(1, chain.length)
    bar = "█" * filled + "░" * (_BAR - filled)
    of = f"{done} of {chain.length} seen" if chain.count else f"{done} seen, count open"
    return Line(f"{chain.name:<16} {bar} {of}", note=f"output {chain.output}, {verified_count(map_, chain)} proved")


def _in_full(s: MapTableState) -> Line:
    """The row in hand, with nothing cut."""
    chain, number = s.at
    if chain not in s.map.chain_by_id or number >= len(s.map.chain(chain).pixels):
        return Line("")
    pixel = s.map.chain(chain).pixels[number]
    place = s.map.place_of(pixel)
    words = [f"{s.map.chain(chain).name} {shown_number(number)}", pixel.state.value, seen_words(s.map, chain, pixel)]
    if place is not None:
        words += [place.label, place.area or "no area", place.kind.value]
        words += [f"lamps {', '.join(map(str, place.lamps))}"] if place.lamps else []
    words += [note for note in (pixel.note, place.note if place is not None else "") if note]
    of_place, of_joint = (place.id if place is not None else "", (chain, pixel.id))
    shown = [p.file for p in s.map.photos if p.place == of_place or (p.chain, p.pixel) == of_joint]
    words += [f"{'photo' if len(shown) == 1 else 'photos'} {', '.join(dict.fromkeys(shown))}"] if shown else []
    return Line(" · ".join(words), wrap=True)


def _spots(s: MapTableState) -> tuple[Spot, ...]:
    chain, number = s.at
    return in_hand(s.map.place_at(s.map.chain(chain), number)) if chain in s.map.chain_by_id else ()


def _rows(map_: PlayfieldMap, searched: str, sorted_by: int) -> tuple[Row, ...]:
    wanted = folded(searched)
    found: list[tuple[str, int, Pixel, Place | None]] = []
    names = {chain.id: chain.name for chain in map_.chains}
    for chain, number, pixel in map_.walk_pixels():
        place = map_.place_of(pixel)
        if wanted:
            words = [f"{names[chain]} {shown_number(number)}", pixel.state.value, pixel.note]
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
    head = Line(f"{many(len(findings), 'finding')} · in the game: {tally(map_).words}", "bold")
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
