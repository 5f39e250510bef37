"""What is to be seen of a task, as values: one of three kinds of screen draws them. Texts may hold anything a person typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field

from probe.document.model import Place, Position
from probe.document.model.shape import Shape
from probe.frozen import frozen

LIT_SIGN = "◉"
MARK_SIGN = "+"


@frozen
class Line:
    """A line of text. `style`: "", "bold", "dim", "reverse" or "bold reverse". `note` follows it, dim, and is cut first.

    `wrap`: it takes as many rows as it needs. `tall`: it is left out where the screen is low. `lead`: stands
    before it, where the marker stands before the chosen one. `swatch`: a block in this colour (#RRGGBB) stands before it.
    """

    text: str
    style: str = ""
    note: str = ""
    wrap: bool = False
    tall: bool = False
    lead: str = ""
    swatch: str = ""


@frozen
class Spot:
    """One thing to draw in the picture: position in mm, its sign, and how.

    Looks: `lit` and `seen` (a ring around it), `offered` (a broken ring: the marked row proposes this), `held`, `mark`,
    `off`, `colour` (its sign is the letter of a colour), `plain`, `dark`. `label` stands beside what is ringed.
    """

    position: Position
    sign: str
    look: str
    label: str = ""


def in_hand(place: Place | None) -> tuple[Spot, ...]:
    """The place of the row in hand: ringed as what is not said to be lit. Nothing where it has no position."""
    if place is None or place.position is None:
        return ()
    return Spot(place.position, "?", "offered"), Spot(place.position, MARK_SIGN, "mark")


@frozen
class PictureView:
    """The playfield with `spots` above it. `point` makes the event (or None) of a point (x, y in mm) that was clicked or
    marked; `put` that of one set with the mark, where it is another; `drag` that of what is drawn with the mouse from one point to another.

    `start`: where a mark that is moved by arrows begins. `chain`: the one in hand, whose places are brighter than the others'.
    `legend`: what the signs mean; with `map_legend` those of the places.
    `area`: only this area is drawn. `route`, `grid`: these are drawn too. `wide`: the picture has what the texts leave.
    `roomy`: it is drawn only on a large terminal, where it is beside the matter.

    `shapes`: these are drawn instead of the map's; `shape`: the one in hand, drawn brightest.

    In the demo what is lit under the glass is drawn too; with `seen_on_request` only when asked for (`UnderTheGlass`), and
    then instead of the spots. `seen_signs`: a colour's word → the sign and the look of what shines in it.
    `title` stands above it. `at`: the place in hand, of which it is said what is lit there.
    """

    spots: tuple[Spot, ...] = ()
    point: Callable[[float, float], object] | None = None
    put: Callable[[float, float], object] | None = None
    drag: Callable[[float, float, float, float], object] | None = None
    start: Position | None = None
    chain: str | None = None
    legend: str = ""
    map_legend: bool = False
    area: str | None = None
    route: bool = False
    grid: bool = False
    wide: bool = False
    roomy: bool = False
    shapes: tuple[Shape, ...] | None = None
    shape: Shape | None = None
    seen_on_request: bool = False
    seen_signs: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    title: str = ""
    at: str | None = None


@frozen
class Pane:
    """Lines under a title, shown beside the question where the terminal is large."""

    title: str
    lines: tuple[Line, ...]


@frozen
class TaskView:
    """One question at a time. The screen cuts, wraps and places; the parts stand in this order from the top.

    `head`: where one is; `board`: how the board is. `number` is drawn large, hollow unless `lit`. `cells` are short
    texts side by side, `across` in a row, each cut to its share of the width; their notes follow where there
    is room. `above` stands over the entry line (`prompt`, and what is `typed`; no line where that is None), then come the `items` with the one `chosen`, or
    `empty` where there are none, `details` (long texts, which scroll), `below`, `panes` (made only on a large terminal, for so many lines each),
    `message` and `progress`. `second` is another picture, beside the first where the terminal is wide; in the demo it shows what
    is lit under the glass.
    """

    head: str
    board: str = ""
    number: int | None = None
    lit: bool = False
    cells: tuple[Line, ...] = ()
    across: int = 8
    above: tuple[Line, ...] = ()
    prompt: str = ""
    typed: str | None = None
    items: tuple[Line, ...] = ()
    chosen: int = 0
    marker: str = "▸ "
    empty: tuple[Line, ...] = ()
    details: tuple[Line, ...] = ()
    long: bool = False
    below: tuple[Line, ...] = ()
    message: str = ""
    unsaved: str = ""
    progress: str = ""
    picture: PictureView | None = None
    second: PictureView | None = None
    panes: Callable[[int], tuple[Pane, ...]] | None = None


@frozen
class Row:
    """A row of a table; `key` names it. `style` is that of the cell with index `styled`, or of all."""

    key: object
    cells: tuple[str, ...]
    style: str = ""
    styled: int | None = None


@frozen
class RowsView:
    """A table that can be searched and sorted. `at` is the key of the row in hand, `sort` the index of a column.

    `prompt` and `typed`: a line to type in, below the table. `beside`: the text about the row in hand. `details` open on
    request below the table. `choose` makes the event of a row, `search` that of a text, `sorted` that of a column.
    `spots`: where the row in hand lies, drawn in a picture on a large terminal; None where rows have no place.
    `panes` stand beside the table there.
    """

    head: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    board: str = ""
    at: object = None
    sort: int = 0
    searched: str | None = None
    prompt: str = ""
    typed: str | None = None
    items: tuple[Line, ...] = ()
    chosen: int = 0
    beside: tuple[Line, ...] = ()
    details: tuple[Line, ...] = ()
    message: str = ""
    unsaved: str = ""
    progress: str = ""
    choose: Callable[[object], object] | None = None
    search: Callable[[str], object] | None = None
    sorted: Callable[[int], object] | None = None
    spots: tuple[Spot, ...] | None = None
    panes: tuple[Pane, ...] = ()


@frozen
class FormEntry:
    """A value that can be changed; a heading where `key` is None. `assumed`: the value that holds while none is given."""

    key: object
    label: str
    value: str = ""
    assumed: str = ""
    hint: str = ""


FigureRow = tuple[tuple[str, str], ...]
"""A row of a figure made of characters: texts side by side, each with its look: `axis`, `line`, `enough`, `low` …"""


@frozen
class FormView:
    """Entries with values at the left, something to read at the right. `at` is the key of the entry in hand.

    `figure`, such as a curve, is drawn over both: it is called with the width and height there is in cells, and with
    `plain_ascii`. `prompt`, `typed`, `hint`: the line in which a value is being typed; with `select`, typing replaces what
    stands there when it opens. `choose` makes the event of an entry. `panes` stand beside it on a large terminal.
    """

    head: str
    entries: tuple[FormEntry, ...]
    board: str = ""
    at: object = None
    figure: Callable[..., tuple[FigureRow, ...]] | None = None
    text: tuple[Line, ...] = ()
    prompt: str = ""
    typed: str | None = None
    hint: str = ""
    select: bool = True
    message: str = ""
    unsaved: str = ""
    progress: str = ""
    choose: Callable[[object], object] | None = None
    panes: tuple[Pane, ...] = ()


View = TaskView | RowsView | FormView
