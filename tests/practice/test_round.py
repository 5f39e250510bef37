"""A practice round's board: what it clocks out goes through the model wiring before it is seen."""

from __future__ import annotations

import pytest

from device_protocol.values import Colour
from probe.document.checks import check_map
from probe.faults.engine import UNSURE, FaultSession, answered, answered_by_reading, most_probable, next_step
from probe.faults.explain import reply_words, row_words
from probe.faults.tables import load
from probe.practice.behaviour import SeenPixel
from probe.practice.plant import PLANTERS, plant
from probe.practice.round import CHAIN, PracticeBoard, PracticeRound, practice_map, sign
from tests.support.examples import first_now

K = load()


def lit(cause: str, *, byte: int = 1, seed: int = 5, level: int = 20) -> PracticeBoard:
    """A board that has sent one byte of every pixel (1: red in the order GRB) at a level."""
    planted = plant([cause], seed=seed)
    board = PracticeBoard(planted)
    order = planted.wiring.settings.order
    board.outputs[0].byte_order = order
    one = bytes(level if at == byte else 0 for at in range(len(order)))
    board.clock_out(0, one * planted.wiring.settings.count)
    return board


@pytest.mark.parametrize(
    ("cause", "signs"),
    [
        ("no-5v", "·" * 50),
        ("no-common-ground", "~" * 50),
        ("joint-open", "R" * 22 + "·" * 28),
        ("led-dead", "R" * 22 + "·" + "R" * 27),
        ("turned-away", "R" * 22 + "·" + "R" * 27),
        ("corrupts-after", "R" * 22 + "~" * 28),
    ],
)
def test_the_chain_shows_what_the_fault_makes_of_red(cause: str, signs: str) -> None:
    seen = lit(cause, seed=5).signs()
    assert seen == signs


def test_three_colours_sent_to_four_colour_pixels_repeat() -> None:
    # bytes 0 L 0 0 L 0 ... taken four at a time in the order G, R, B, W: red; green and white; blue; and again
    assert lit("rgbw-as-rgb").signs().startswith("R+BR+B")


def test_what_is_seen_beside_the_pixels_is_remarked() -> None:
    assert lit("chains-crossed").remarks() == ("another chain lights",)
    assert lit("joint-open").remarks() == ()


def test_signs_tell_colours_apart_without_colour() -> None:
    assert sign(SeenPixel(Colour(9, 9, 0))) == "Y"
    assert sign(SeenPixel(Colour(9, 9, 9), tinted=True)) == "w"
    assert sign(SeenPixel(Colour(9, 1, 1))) == "R"
    assert sign(SeenPixel(Colour(0, 0, 0))) == "·"
    assert sign(SeenPixel(Colour(9, 0, 0), steady=False)) == "~"


@pytest.mark.parametrize("cause", first_now(sorted(PLANTERS), now=19))
def test_every_fault_has_a_map_and_a_view(cause: str) -> None:
    planted = plant([cause], seed=9)
    map_ = practice_map(planted)
    assert len(map_.chain(CHAIN).pixels) == planted.wiring.settings.count
    assert not [finding for finding in check_map(map_) if finding.severity == "fault"]
    assert len(lit(cause, seed=9).signs()) == planted.wiring.count


def a_round(seed: int) -> PracticeRound:
    return PracticeRound(K.weights, K.observations, seed=seed)


def test_the_same_seed_gives_the_same_round_in_any_order_of_questions() -> None:
    one, other = a_round(4), a_round(4)
    assert one.planted == other.planted
    assert one.map == other.map
    ids = [observation.id for observation in K.observations]
    first = [one.answer(name) for name in ids]
    assert first == [other.answer(name) for name in ids]
    assert [one.answer(name) for name in reversed(ids)] == first[::-1] == [other.answer(n) for n in reversed(ids)]


def test_an_unknown_question_is_refused() -> None:
    with pytest.raises(KeyError):
        a_round(4).answer("gremlins")


@pytest.mark.slow
def test_a_round_can_be_played_to_its_end_from_what_is_seen_and_read() -> None:
    """A person who believes the words and picks the answer with that text finds the fault in most rounds."""
    right = 0
    for seed in range(20):
        played = a_round(seed)
        session = FaultSession()
        while (question := next_step(K, session).question) is not None:
            reply = played.answer(question.id)
            words = reply_words(question, answer=reply.answer, typed=reply.typed, k=played.k)
            if question.meter and not words.startswith("nothing"):
                session, _ = answered_by_reading(K, session, observation=question.id, typed=words)
                continue
            fits = [
                a.id
                for a in sorted(question.answers, key=lambda a: -len(a.text))
                if words.startswith(row_words(a.text, played.k))
            ]
            session = answered(
                K,
                session,
                observation=question.id,
                answer=fits[0] if fits else UNSURE,
                k=played.k if question.id == "look" else None,
            )
        right += any(cause in played.planted.causes for cause in most_probable(K, session))
    assert right >= 16


def test_a_board_without_a_link_says_nothing_at_all() -> None:
    sound, dumb = PracticeBoard(plant([], seed=1)), PracticeBoard(plant(["no-link"], seed=1))
    heard = [
        b"".join([*(board.tick(now_ms) for now_ms in range(0, 5_000, 100)), board.receive_data(b"?\n", 5_100)])
        for board in (sound, dumb)
    ]
    assert heard[0]
    assert heard[1] == b""
    assert sound.tick(20_000.0) + sound.receive_data(b"?\n", 20_001.0)


def test_a_stale_map_places_numbers_where_they_no_longer_are() -> None:
    planted = plant(["table-stale"], seed=3)
    wiring = planted.wiring
    assert wiring.shift_from is not None
    map_ = practice_map(planted)
    pixels = map_.chain(CHAIN).pixels
    labels = [map_.place_by_id[pixel.place or ""].label for pixel in pixels]
    shifted = [f"Spot {n + (wiring.shift if n >= wiring.shift_from else 0)}" for n in range(len(pixels))]
    assert labels == shifted != [f"Spot {n}" for n in range(len(pixels))]
