"""Names that are cut to fit: what tells one from the next stays."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from probe.task.views import Line
from probe.ui.command_screen import folded, hung, line_content
from probe.ui.text import cut, cut_inside, wrapped


@pytest.mark.parametrize(
    ("text", "width", "shown"),
    [
        ("Otter bonus 10", 9, "Otter …10"),
        ("Otter bonus 1", 4, "Ot…1"),
        ("Otter bonus 2X", 14, "Otter bonus 2X"),
        ("Starfish bumper", 9, "Starfish…"),
        ("Whirlpool", 4, "Whi…"),
        ("GI 10", 3, "GI…"),
    ],
)
def test_the_number_at_the_end_stays(text: str, width: int, shown: str) -> None:
    assert cut_inside(text, width) == shown


def test_a_note_is_cut_before_the_name_it_stands_beside() -> None:
    line = Line("Shooter lane glow 2", note="(new)")
    assert line_content(line, 40).plain == "Shooter lane glow 2  (new)"
    assert line_content(Line("Otter", note="(in the list)"), 15).plain == "Otter  (in the…"
    assert line_content(line, 22).plain == "Shooter lane glow 2", "too little of the note would be left"
    assert line_content(line, 12).plain == "Shooter la…2"


@given(st.text(max_size=40), st.integers(1, 30))
def test_it_never_takes_more_room(text: str, width: int) -> None:
    assert cell_len(cut_inside(text, width)) <= width
    assert cell_len(cut(text, width)) <= width


def test_a_legend_is_broken_between_its_parts_only() -> None:
    assert wrapped("o insert  + general  x dark", 21) == ["o insert  + general", "x dark"]
    assert wrapped("o insert  + general", 8) == ["o insert", "+ general"]


def test_a_row_of_a_list_is_folded_behind_its_mark_with_its_note_once_at_the_end() -> None:
    rows = str(folded(Line("  two words and three more", note="a note"), 14)).splitlines()
    assert rows[0] == "  two words"
    assert all(row.startswith("    ") for row in rows[1:])
    assert rows[-1].endswith("a note")
    assert sum("note" in row for row in rows) == 1
    prose = "words that go on and on"
    assert str(hung(Line(prose), 10)) == prose, "prose is folded by its widget, at its own edge"
    assert "\n    " in str(hung(Line(f"  {prose}"), 12))
    assert "\n  " in str(hung(Line(f"▸ {prose}"), 12))
