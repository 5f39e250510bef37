"""Text from outside: whatever it holds, it neither controls a terminal nor breaks a line; what is harmless stays."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.outside_text import escaped, is_unsafe, spaced, visible

WAYS = [spaced, escaped, visible]
JOINER = "\u200d"


@pytest.mark.parametrize("way", WAYS)
@given(text=st.text(st.characters(codec=None) | st.sampled_from("\x1b\x9b\u202e\u2066\u2028\x85\ud800\x7f\t\n")))
def test_nothing_unsafe_is_left(way: Callable[[str], str], text: str) -> None:
    shown = way(text)
    assert not any(is_unsafe(character) and character != JOINER for character in shown)
    assert len(shown.splitlines()) <= 1


@pytest.mark.parametrize(
    "character", [*"\0\a\b\x1b\x7f\x85\x9b\x9d\u200f\u2028\u2029\u202e\u2066\u2069\ud800\ue000\uffff"]
)
def test_each_kind_of_unsafe_character(character: str) -> None:
    """Unicode's categories of controls, formats, surrogates, private and no characters, and separators of lines."""
    assert is_unsafe(character)
    assert all(character not in way(f"a{character}b") for way in WAYS)


@pytest.mark.parametrize("way", WAYS)
def test_harmless_text_stays_as_it_is(way: Callable[[str], str]) -> None:
    text = "Otter [/x] Überlauf 章魚 🦑 10 %"
    assert way(text) == text


def test_what_each_way_makes_of_an_escape_and_a_reversal() -> None:
    hostile = "a\x1b[2Jb\u202ec"
    assert spaced(hostile) == "a [2Jb c"
    assert escaped(hostile) == r"a\x1b[2Jb\u202ec"
    assert visible(hostile) == "a␛[2Jb‹202E›c"
