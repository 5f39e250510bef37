"""The picture in cells: proportions, windows, layers, signs, the ring of the lit place."""

from __future__ import annotations

import math
import unicodedata
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from probe.document.file import demo_map_path, load_map
from probe.document.model import PixelState, PlayfieldMap, Position, Shape, ShapeKind
from probe.playfield import cells as ce
from probe.playfield import shapes_of
from probe.playfield.window import LEAST_PANEL_COLUMNS, Layout, Window, columns_for, lay_out, zoom_box

SIZES = [(36, 22), (46, 36), (70, 52), (100, 56), (22, 21)]


@pytest.fixture(scope="module")
def kelp() -> PlayfieldMap:
    return load_map(demo_map_path())


def drawn(map_: PlayfieldMap, layout: Layout, *, grid: bool = False, plain: bool = False, **how: Any) -> ce.Rows:
    below = ce.drawn_cells(shapes_of(map_), layout, grid=grid, plain=plain)
    return ce.still_cells(map_, below, layout, plain=plain, **how)


def text(rows: ce.Rows, columns: int, height: int) -> list[str]:
    return ["".join(rows.get(y, {}).get(x, (" ", ""))[0] for x in range(columns)) for y in range(height)]


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_one_scale_serves_both_directions(kelp: PlayfieldMap, columns: int, rows: int) -> None:
    for window in lay_out(kelp, columns, rows).windows:
        left, near, right, _ = window.box
        origin = window.dot(left, near)
        across = window.dot(min(right, left + 100), near)[0] - origin[0]
        up = origin[1] - window.dot(left, near + 100)[1]
        assert abs(across) == pytest.approx(up)


@given(st.integers(4, 200), st.integers(3, 80), st.booleans(), st.floats(0, 514), st.floats(0, 1066), st.integers(0, 9))
def test_a_cell_leads_back_to_a_position_in_it(
    columns: int, rows: int, from_below: bool, x_mm: float, y_mm: float, offset: int
) -> None:
    window = Window((0, 0, 514.35, 1066.8), columns, rows, column=offset, from_below=from_below)
    cell = window.cell(Position(x_mm=x_mm, y_mm=y_mm))
    assert window.holds(*cell)
    assert window.cell(window.position(*cell)) == cell
    across, down = window.dot(x_mm, y_mm)
    assert -0.51 <= across <= columns * 2 - 0.49
    assert -0.51 <= down <= rows * 4 - 0.49


def test_from_below_is_mirrored_and_nothing_else(kelp: PlayfieldMap) -> None:
    above, below = lay_out(kelp, 46, 36), lay_out(kelp, 46, 36, from_below=True)
    window, other = above.windows[0], below.windows[0]
    for place in kelp.places:
        assert place.position is not None
        if window.inside(place.position):
            (u, v), (mirrored, same) = (
                window.dot(place.position.x_mm, place.position.y_mm),
                other.dot(place.position.x_mm, place.position.y_mm),
            )
            assert same == v
            assert u + mirrored == pytest.approx(window.columns * 2 - 1)


def test_the_panel_stands_beside_the_field_where_there_is_room(kelp: PlayfieldMap) -> None:
    field, panel = lay_out(kelp, 70, 52).windows
    assert field.columns == columns_for(514.35, 1066.8, 52)
    assert panel.columns >= LEAST_PANEL_COLUMNS
    assert panel.column == field.columns + 1
    (alone,) = lay_out(kelp, 24, 22).windows
    assert alone.box == (0, 0, 514.35, 1066.8)
    backbox = kelp.place_by_id["title-otter"].position
    assert backbox is not None
    (instead,) = lay_out(kelp, 24, 22, follow=(backbox,)).windows
    assert instead.inside(backbox)


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize("plain", [False, True])
def test_every_place_in_a_window_stands_in_its_cell(
    kelp: PlayfieldMap, columns: int, rows: int, *, plain: bool
) -> None:
    layout = lay_out(kelp, columns, rows)
    picture = drawn(kelp, layout, plain=plain)
    for place in ce.place_signs(kelp):
        window = layout.window_of(place.position)
        if window is None:
            continue
        column, row = window.cell(place.position)
        sign, role = picture[row][column]
        assert ce.RANK[role] >= ce.RANK[place.role]
        if role == place.role and role in ("trouble", "changed"):
            assert sign == (ce.plain_sign(place.sign) if plain else place.sign)
    assert all(0 <= row < rows and 0 <= column < columns for row, cells in picture.items() for column in cells)


def test_signs_are_one_cell_wide_in_every_locale_and_none_is_an_emoji() -> None:
    signs = {
        *ce.SIGNS.values(),
        ce.GUESS_SIGN,
        ce.NO_PIXEL_SIGN,
        ce.DARK_SIGN,
        ce.CHANGED_SIGN,
        ce.LIT_SIGN,
        "▸",
        "◂",
        "▴",
        "▾",
    }
    # East Asian width as Unicode's data say it, which Python carries: narrow or neutral, never ambiguous or wide.
    assert {unicodedata.east_asian_width(sign) for sign in signs} <= {"N", "Na"}
    assert unicodedata.east_asian_width(chr(0x28FF)) == "N"
    # Emoji in Unicode's emoji-data that lie near: U+25AA, 25AB, 25B6, 25C0, 25FB-25FE, 2714, 2716, 2733, 2734 (from memory).
    emoji = {0x25AA, 0x25AB, 0x25B6, 0x25C0, *range(0x25FB, 0x25FF), 0x2714, 0x2716, 0x2733, 0x2734}
    assert not emoji & {ord(sign) for sign in signs}
    assert len({ce.plain_sign(sign) for sign in signs}) == len(signs)
    assert all(ord(ce.plain_sign(sign)) < 128 for sign in signs)


def test_plain_ascii_holds_nothing_else(kelp: PlayfieldMap) -> None:
    for columns, rows in SIZES:
        layout = lay_out(kelp, columns, rows)
        still = drawn(kelp, layout, plain=True, route=True, grid=True)
        whirlpool = kelp.place_by_id["whirlpool"].position
        assert whirlpool is not None
        both = ce.over(still, ce.ring_cells(still, layout, whirlpool, label="Whirlpool", plain=True))
        assert all("".join(text(both, columns, rows))), "there is a picture"
        assert "".join(text(both, columns, rows)).isascii()


def test_states_of_a_place_have_signs_of_their_own(kelp: PlayfieldMap) -> None:
    signs = {place.place: (place.sign, place.role) for place in ce.place_signs(kelp, chain="playfield")}
    dark = next(p.place for _, _, p in kelp.walk_pixels() if p.state in (PixelState.DARK, PixelState.DEAD))
    assert signs[dark or ""] == (ce.DARK_SIGN, "trouble")
    assert signs["anemone-bumper"] == ("⊚", "here")
    assert signs["title-otter"] == ("▭", "other")
    place = kelp.place_by_id["extra-dive"]
    assert place.position is not None
    guessed = place.model_copy(update={"position": place.position.model_copy(update={"guessed": True})})
    places = tuple(guessed if p.id == place.id else p for p in kelp.places)
    again = {p.place: (p.sign, p.role) for p in ce.place_signs(kelp.model_copy(update={"places": places}))}
    assert again["extra-dive"] == (ce.GUESS_SIGN, "guess")
    bare = kelp.model_copy(update={"chains": ()})
    assert {role for _, role in ((p.sign, p.role) for p in ce.place_signs(bare))} == {"none"}


@pytest.mark.parametrize("columns_rows", SIZES)
def test_the_ring_covers_lines_but_never_another_place(kelp: PlayfieldMap, columns_rows: tuple[int, int]) -> None:
    layout = lay_out(kelp, *columns_rows)
    still = drawn(kelp, layout, chain="playfield", route=True)
    for place in kelp.places:
        if place.position is None or layout.window_of(place.position) is None:
            continue
        ring = ce.ring_cells(still, layout, place.position)
        column, row = layout.nearest(place.position).cell(place.position)
        assert ring[row][column] == (ce.LIT_SIGN, "lit")
        for y, cells in ring.items():
            for x in cells:
                under = still.get(y, {}).get(x)
                if under is not None and (x, y) != (column, row):
                    assert ce.RANK[under[1]] < ce.RANK["here"]


def test_what_is_only_offered_is_not_drawn_as_lit(kelp: PlayfieldMap) -> None:
    layout = lay_out(kelp, 46, 36)
    still = drawn(kelp, layout)
    at = kelp.place_by_id["whirlpool"].position
    assert at is not None
    lit, offered = (ce.ring_cells(still, layout, at, label="Whirlpool", lit=lit) for lit in (True, False))
    dots = [
        sum(ce.bits_of(cell).bit_count() for row in ring.values() for cell in row.values()) for ring in (lit, offered)
    ]
    assert dots[1] < dots[0] * 0.6
    signs = ["".join(cell[0] for row in ring.values() for cell in row.values()) for ring in (lit, offered)]
    assert ce.LIT_SIGN in signs[0]
    assert ce.LIT_SIGN not in signs[1]
    assert ce.OFFERED_SIGN in signs[1]
    assert {cell[1] for row in offered.values() for cell in row.values()} == {"ring", "offered", "label"}


@pytest.mark.parametrize(("columns", "rows"), [(30, 16), (30, 14), (46, 36)])
def test_a_label_is_moved_aside_for_another_lit_place(kelp: PlayfieldMap, columns: int, rows: int) -> None:
    layout = lay_out(kelp, columns, rows)
    (field, *_) = layout.windows
    cells = sorted({field.cell(p.position): p.position for p in kelp.places if p.position is not None}.items())
    inside = [(cell, at) for cell, at in cells if field.holds(*cell)]
    covered = []
    for cell, at in inside:
        for other, _ in inside:
            if other != cell and abs(other[1] - cell[1]) <= 4:
                ring = ce.ring_cells({}, layout, at, label="Reef lane 1", others=[cell, other])
                assert sum(c[1] == "label" for row in ring.values() for c in row.values()) == 13, "whole"
                covered += [(cell, other)] * (ring.get(other[1], {}).get(other[0], ("", ""))[1] == "label")
    assert not covered, f"{len(covered)} of {len(inside) ** 2}: {covered[:3]}"


@given(st.integers(1, 30), st.floats(0, 514), st.floats(0, 1066))
def test_a_label_stays_in_the_frame(length: int, x_mm: float, y_mm: float) -> None:
    window = Window((0, 0, 514.35, 1066.8), 36, 22)
    layout = Layout((window,))
    rows = ce.ring_cells({}, layout, Position(x_mm=x_mm, y_mm=y_mm), label="x" * length)
    letters = [(y, x) for y, cells in rows.items() for x, cell in cells.items() if cell == ("x", "label")]
    assert len(letters) == length
    assert all(0 <= x < 36 and 0 <= y < 22 for y, x in letters)


@given(
    st.text(st.sampled_from("x字e\u0301 \x1b\u202e"), min_size=1, max_size=40), st.floats(0, 514), st.floats(0, 1066)
)
def test_a_label_of_any_text_takes_the_cells_it_is_drawn_in(label: str, x_mm: float, y_mm: float) -> None:
    layout = Layout((Window((0, 0, 514.35, 1066.8), 36, 22),))
    rows = ce.ring_cells({}, layout, Position(x_mm=x_mm, y_mm=y_mm), label=label)
    for cells in rows.values():
        at = [column for column, (_, role) in sorted(cells.items()) if role == "label"]
        text = "".join(cells[column][0] for column in at)
        assert text.replace("\u0301", "").isprintable()
        assert cell_len(text) == len(at)
    assert "\x1b" not in str(rows)


def test_finer_cells_show_finer_strokes(kelp: PlayfieldMap) -> None:
    bumper = Shape(kind=ShapeKind.BUMPER, x_mm=257, y_mm=533)
    counts = []
    for columns, rows in ((22, 22), (36, 36), (51, 52)):
        window = Window((0, 0, 514.35, 1066.8), columns, rows)
        inside = [
            ce.bits_of(cell).bit_count()
            for (column, row), cell in ce.shape_cells([bumper], window).items()
            if math.dist(window.cell(Position(x_mm=257, y_mm=533)), (column, row)) < 9
        ]
        counts.append(sum(inside))
    assert counts[0] < counts[1] < counts[2]


def test_zoom_follows_in_half_windows(kelp: PlayfieldMap) -> None:
    boxes = {zoom_box(kelp, Position(x_mm=250, y_mm=float(y))) for y in range(0, 1066, 10)}
    assert 2 <= len(boxes) <= 4
    for y in range(0, 1066, 10):
        at = Position(x_mm=250, y_mm=float(y))
        left, near, right, far = zoom_box(kelp, at)
        assert left <= at.x_mm <= right
        assert near <= at.y_mm <= far


def test_the_route_is_drawn_between_places_with_arrows_and_numbers(kelp: PlayfieldMap) -> None:
    layout = lay_out(kelp, 70, 52)
    rows = drawn(kelp, layout, route=True, chain="playfield")
    roles = {cell[1] for row in rows.values() for cell in row.values()}
    assert {"route", "number"} <= roles
    assert any(cell == (arrow, "route") for arrow in "▸◂▴▾" for row in rows.values() for cell in row.values())
    assert "route" not in {cell[1] for row in drawn(kelp, layout).values() for cell in row.values()}
    grid = drawn(kelp, layout, grid=True)
    assert ("A", "grid") in grid[51].values()
    assert ("1", "grid") in [cell for row in grid.values() for cell in row.values()]
