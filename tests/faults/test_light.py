"""The fault finder's light: the board's own patterns show what the pictures sent from here would show."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.orders import Identity
from device_protocol.values import DARK, Colour
from probe.document.model import Chain
from probe.faults.light import begin, own_pattern, picture, showing, stepped, ticked
from probe.patterns.flash import flashes_per_second
from probe.patterns.patterns import PatternChain, PatternName, frame, pattern
from probe.patterns.pictures import GREEN, RED, Picture, single, whole
from probe.task.light import BoardPattern, Outputs, Pixels
from tests.support.boards import identity

CHAIN = Chain(id="a", name="Playfield", output=0, count=20, ceiling_ma=900)


def able_to(*features: str) -> Identity:
    return identity(pixels=100, ceiling_ma=1_500, features=frozenset(features))


@pytest.mark.parametrize("name", list(PatternName))
def test_the_boards_own_pattern_shows_the_same_colours(name: PatternName) -> None:
    made = pattern(name)
    on = PatternChain(count=20, ceiling_ma=900)
    own = own_pattern(made, on)
    if name in (PatternName.ALL_OUTPUTS, PatternName.ALL_NUMBERS):
        assert own is None  # SPEC 5.22 has no such pattern: pictures are sent
        return
    assert own is not None
    assert own.step_ms >= 167
    if own.walk:
        assert own.colours == (frame(made, on, 3).picture[3],)
    else:
        assert [frame(made, on, at).picture[0] for at in range(len(own.colours))] == list(own.colours)
    assert own.hold == (name in {PatternName.HOLD_ONE, PatternName.MARCH, PatternName.SOAK, PatternName.SEND_IDLE})


@pytest.mark.parametrize(
    ("shown", "features", "wanted"),
    [
        (whole(DARK, 4), (), (0, [DARK] * 4)),
        (single(2, RED, 4), (), (2, [RED])),
        (whole(RED, 4), ("range",), (0, [RED] * 4)),
        (whole(RED, 4), ("paint",), (0, [RED] * 4)),
        ((DARK, RED, GREEN), ("paint",), (0, [DARK, RED, GREEN])),
        ((DARK, RED, GREEN), ("range",), (1, [RED])),
    ],
)
def test_a_picture_is_light_and_a_board_without_the_means_lights_its_first_pixel(
    shown: Picture, features: tuple[str, ...], wanted: tuple[int, list[Colour]]
) -> None:
    first, colours = wanted
    assert picture(3, shown, able_to(*features)) == Pixels(3, first, tuple(colours))


@pytest.mark.slow
@given(
    st.sampled_from(list(PatternName)),
    st.booleans(),
    st.lists(st.tuples(st.sampled_from(("tick", "key", "back")), st.integers(5, 600)), max_size=60),
)
def test_nothing_sent_from_here_flashes_more_than_three_times_a_second(
    name: PatternName, steady: bool, events: list[tuple[str, int]]
) -> None:
    board = able_to("range", "paint")
    now_ms = 1_000
    running = begin(pattern(name), CHAIN, board, now_s=now_ms / 1000, steady_only=steady)
    changes = [now_ms]
    for what, after_ms in events:
        now_ms += after_ms
        before = showing(running, board)
        if what == "tick":
            running = ticked(running, now_ms / 1000)
            assert not (steady and showing(running, board) != before)
        else:
            running = stepped(running, 1 if what == "key" else -1, now_ms / 1000)
        if showing(running, board) != before:
            changes.append(now_ms)
    assert flashes_per_second(changes) <= 3


def test_send_and_idle_needs_a_board_that_sends_by_itself() -> None:
    running = begin(pattern("send-idle"), CHAIN, able_to("range"), now_s=1.0, steady_only=False)
    assert "too low" in running.trouble
    shown = showing(running, able_to("range"))
    assert isinstance(shown, Pixels)
    assert shown.is_dark
    running = begin(pattern("send-idle"), CHAIN, able_to("pattern"), now_s=1.0, steady_only=True)
    assert running.trouble == ""
    shown = showing(running, able_to("pattern"))
    assert isinstance(shown, BoardPattern)
    assert shown.line == "turns"


def test_every_output_shows_its_own_colour() -> None:
    there = able_to("range", "pattern")
    shown = showing(begin(pattern("all-outputs"), CHAIN, there, now_s=1.0, steady_only=False), there)
    assert isinstance(shown, Outputs)
    assert [part.output for part in shown.parts] == [0, 1]
    assert len({part.colours[0] for part in shown.parts}) == 2


@pytest.mark.parametrize("name", list(PatternName))
def test_no_pattern_asks_for_more_than_the_lower_of_both_ceilings(name: PatternName) -> None:
    """A chain of 30 A on a board that allows 1.5 A: what is sent stays within what the board allows."""
    there = able_to("range", "paint")
    hungry = CHAIN.model_copy(update={"ceiling_ma": 30_000})
    running = begin(pattern(name), hungry, there, now_s=1.0, steady_only=False)
    assert running.chain.ceiling_ma == 1_500
    for step in range(5):
        shown = showing(replace(running, step=step), there)
        for part in shown.parts if isinstance(shown, Outputs) else (shown,):
            assert isinstance(part, Pixels)
            total = sum(colour.total for colour in part.colours)
            used_ua = there.idle_ua * len(part.colours) + there.channel_ua * total / 255
            assert used_ua <= 1_500_000
