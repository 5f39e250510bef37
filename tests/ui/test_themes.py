"""Every role of the picture can be read in every theme: contrast as WCAG 2.2 measures it, from the themes' own variables.

Relative luminance and contrast ratio: WCAG 2.2, "relative luminance" and "contrast ratio" (w3.org/TR/WCAG22); 4.5:1 for text
is success criterion 1.4.3, 3:1 for signs and lines 1.4.11.
"""

from __future__ import annotations

import pytest
from textual.theme import Theme

from probe.playfield.cells import ROLES
from probe.ui.themes import FACE_DEFAULTS, OURS

TEXT = {"face-text", "face-muted", "face-key", "face-here", "face-trouble", "face-changed", "face-lit"}


def luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_measured_as_the_standard_says() -> None:
    assert contrast("#FFFFFF", "#000000") == pytest.approx(21)
    # WCAG's own technique G18 names no example; #777777 on white is the common one just below 4.5:1 (from memory).
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("theme", OURS, ids=lambda theme: theme.name)
@pytest.mark.parametrize("role", sorted(FACE_DEFAULTS))
def test_every_role_of_the_face_can_be_seen(theme: Theme, role: str) -> None:
    background = theme.background
    assert background is not None
    found = contrast(theme.variables[role], background)
    assert found >= (4.5 if role in TEXT else 3.0), f"{theme.name} {role}: {found:.2f}"


@pytest.mark.parametrize("theme", OURS, ids=lambda theme: theme.name)
@pytest.mark.parametrize("name", ["foreground", "primary", "warning", "error", "success", "accent"])
def test_words_in_the_theme_s_colours_can_be_read(theme: Theme, name: str) -> None:
    colour = getattr(theme, name)
    assert theme.background is not None
    assert contrast(colour, theme.background) >= 4.5
    if theme.panel is not None and name in ("foreground", "warning", "accent"):
        assert contrast(colour, theme.panel) >= 4.5


def test_nothing_competes_with_what_is_lit() -> None:
    for theme in OURS:
        assert theme.background is not None
        lit = contrast(theme.variables["face-lit"], theme.background)
        for role in ("field", "part", "route", "other", "guess", "none"):
            assert contrast(theme.variables[f"face-{role}"], theme.background) < lit


def test_every_role_in_cells_has_a_style_in_the_sheet() -> None:
    from pathlib import Path

    import probe.ui

    sheet = (Path(probe.ui.__file__).parent / "app.tcss").read_text()
    for role in ROLES:
        assert f".picture--{role} " in sheet, role
