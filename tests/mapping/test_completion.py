"""Labels made of the beginnings of known words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.model import Chain, Lamp, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count, set_lamps
from probe.mapping.completion import TRADE, completed, next_of_rows, vocabulary
from probe.mapping.offers import Surroundings, offers

WRECK = ("Right sling glow 1", "Right sling glow 2", "Wreck arrow", "Reef lane 1", "Reef lane 2")


def first(typed: str, labels: tuple[str, ...] = WRECK) -> str | None:
    return next(iter(completed(vocabulary(labels), typed)), None)


@pytest.mark.parametrize(
    ("typed", "label"),
    [
        ("w f", "Wreck flipper"),
        ("w fla", "Wreck flasher"),
        ("wr ja", "Wreck jackpot"),
        ("r o g", "Right outlane glow 1"),
        ("r s g 3", "Right sling glow 3"),
        ("starfish b", "Starfish bumper"),
        ("reef la", "Reef lane 3"),
        ("g ov", "Game over"),
        ("sh lane", "Shooter lane 1"),
    ],
)
def test_beginnings_of_words(typed: str, label: str) -> None:
    assert label in completed(vocabulary(WRECK), typed)


def test_the_word_before_decides() -> None:
    assert first("right s", WRECK) == "Right sling"
    assert first("ball i", ()) == "Ball in", "after ball comes in, as in the trade's words"
    assert first("return l", ()) == "Return lane"


def test_words_that_followed_each_other_outweigh_newer_ones() -> None:
    assert first("r o", ("Right outlane", "Reef arrow", "Reef bell", "Reef dive")) == "Right outlane"


@pytest.mark.parametrize("typed", ["", "A", "a", "7", "rollover A", "wreck arrow", "Whirlpool", "Xyzzy 3", "10"])
def test_what_stands_for_itself(typed: str) -> None:
    """A lone letter, a number, words that are whole or that nobody has used: taken as they are typed."""
    assert first(typed) is None


def test_a_word_that_is_sometimes_numbered_gets_no_number() -> None:
    assert first("cove ar", ("Cove arrow 1", "Wreck arrow")) == "Cove arrow"
    assert first("wreck ar", ("Cove arrow 1",)) == "Wreck arrow 1"


def test_written_as_the_labels_are() -> None:
    assert first("kelp b", ("wreck arrow",)) == "kelp bumper"
    assert first("TOP l", ("GI top 1",)) == "TOP lane"
    assert first("re gi", ("Left GI 1",)) == "Return GI 1"


def test_the_newest_word_comes_first() -> None:
    assert first("o b", ("Orca bell", "Otter bell", "Orca lamp")) == "Orca bell"
    assert first("o b", ("Otter bell", "Orca bell", "Otter lamp")) == "Otter bell"


def test_rows_go_on_the_last_one_first() -> None:
    labels = ("Reef lane 1", "Reef lane 2", "Cove glow 1", "Wreck arrow")
    assert next_of_rows(vocabulary(labels), labels, 3) == ["Cove glow 2", "Reef lane 3"]
    assert next_of_rows(vocabulary(labels), labels, 1) == ["Cove glow 2"]


def chain_of(*labels: str) -> PlayfieldMap:
    map_ = set_count(add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0, count=20)), "a", 20)
    for number, label in enumerate(labels):
        map_, place = add_place(map_, label)
        map_ = assign_place(map_, "a", number, place.id)
    return map_


def test_offered_before_the_text_itself_and_after_what_is_known() -> None:
    around = Surroundings(chain_of(*WRECK), "a", 5)
    assert [o.label for o in offers(around, "wr ja")][:2] == ["Wreck jackpot", "wr ja"]
    found = [o.label for o in offers(around, "wreck a")]
    assert found[0] == "Wreck arrow", "what the map has comes first"
    assert "wreck a" in found
    assert next(o.why for o in offers(around, "wr ja")) == "new"


def test_rows_are_offered_without_a_lamp_list_only() -> None:
    map_ = chain_of(*WRECK, "Whirlpool")
    labels = [o.label for o in offers(Surroundings(map_, "a", 6), "")]
    assert labels.index("Reef lane 3") < labels.index("Right sling glow 3")
    listed = set_lamps(map_, (Lamp(number=1, name="Extra dive"),))
    assert next(o.label for o in offers(Surroundings(listed, "a", 6), "")) == "Extra dive"


@pytest.mark.slow
@given(st.lists(st.text(max_size=40), max_size=8), st.text(max_size=40))
def test_any_text_is_completed_to_labels_that_begin_so(labels: list[str], typed: str) -> None:
    for label in completed(vocabulary(tuple(labels)), typed):
        made = label.casefold().split()
        parts = typed.casefold().split()
        assert len(made) in (len(parts), len(parts) + 1)
        assert all(word.startswith(part) for word, part in zip(made, parts, strict=False))


def test_trade_words_are_plain_and_once() -> None:
    assert len(set(TRADE)) == len(TRADE)
    assert all(phrase == phrase.casefold() and phrase.replace(" ", "").isalpha() for phrase in TRADE)
