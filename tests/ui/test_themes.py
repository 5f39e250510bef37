"""The themes keep contrast: WCAG 2.2, 1.4.3 (4.5:1) and for the high-contrast one 1.4.6 (7:1)."""

from __future__ import annotations

import pytest
from textual.theme import Theme

from probe.ui.themes import OURS

TEXTS = ("foreground", "primary", "warning", "error", "success", "accent")
GROUNDS = ("background", "surface", "panel")


def luminance(colour: str) -> float:
    """Relative luminance of #RRGGBB (WCAG 2.2, definitions)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    """Contrast ratio, 1 to 21 (WCAG 2.2, definitions)."""
    lighter, darker = sorted((luminance(a), luminance(b)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_formula() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    # "#777777 on white is 4.48:1, just short": common practice, no source
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("theme", OURS, ids=lambda theme: theme.name)
def test_text_stands_out(theme: Theme) -> None:
    least = 7.0 if theme.name == "high-contrast" else 4.5
    for text in TEXTS:
        for ground in GROUNDS:
            ratio = contrast(getattr(theme, text), getattr(theme, ground))
            assert ratio >= least, f"{text} on {ground}: {ratio:.1f}"
