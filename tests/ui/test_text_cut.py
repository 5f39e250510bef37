"""Names that are cut to fit: what tells one from the next stays."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from probe.ui.text import cut, cut_inside


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


@given(st.text(max_size=40), st.integers(1, 30))
def test_it_never_takes_more_room(text: str, width: int) -> None:
    assert cell_len(cut_inside(text, width)) <= width
    assert cell_len(cut(text, width)) <= width
