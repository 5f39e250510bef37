"""The fault finder's light: the board's own patterns show what the pictures sent from here would show."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.orders import Identity
from probe.document.model import Chain
from probe.faults.fault_patterns import begin, own_pattern, picture, sent, stepped, ticked
from probe.patterns.flash import flashes_per_second
from probe.patterns.patterns import Chain as PatternChain
from probe.patterns.patterns import PatternName, frame, pattern
from probe.patterns.pictures import DARK, RED, single, whole
from probe.task.steps import RunPattern, ShowDark, ShowPicture, ShowPixel, ShowRange
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
        assert own.colours == (sent(frame(made, on, 3).picture[3]),)
    else:
        assert [sent(frame(made, on, at).picture[0]) for at in range(len(own.colours))] == list(own.colours)
    assert own.hold == (name in {PatternName.HOLD_ONE, PatternName.MARCH, PatternName.SOAK, PatternName.SEND_IDLE})


@pytest.mark.parametrize(
    ("shown", "features", "wanted"),
    [
        (whole(DARK, 4), (), ShowDark),
        (single(2, RED, 4), (), ShowPixel),
        (whole(RED, 4), ("range",), ShowRange),
        (whole(RED, 4), ("paint",), ShowPicture),
        (whole(RED, 4), (), ShowPixel),
    ],
)
def test_the_cheapest_effect_is_taken(shown: tuple[object, ...], features: tuple[str, ...], wanted: type) -> None:
    assert isinstance(picture(0, shown, able_to(*features)), wanted)  # type: ignore[arg-type]


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
    running, _ = begin(pattern(name), CHAIN, board, now_s=now_ms / 1000, steady_only=steady)
    changes = [now_ms]
    for what, after_ms in events:
        now_ms += after_ms
        if what == "tick":
            running, effects = ticked(running, board, now_ms / 1000)
            assert not (steady and effects and name is not PatternName.SEND_IDLE)
        else:
            running, effects = stepped(running, 1 if what == "key" else -1, board, now_ms / 1000)
        if effects:
            changes.append(now_ms)
    assert flashes_per_second(changes) <= 3


def test_send_and_idle_needs_a_board_that_sends_by_itself() -> None:
    running, effects = begin(pattern("send-idle"), CHAIN, able_to("range"), now_s=1.0, steady_only=False)
    assert "too low" in running.trouble
    assert effects == (ShowDark(0),)
    running, effects = begin(pattern("send-idle"), CHAIN, able_to("pattern"), now_s=1.0, steady_only=True)
    assert running.trouble == ""
    assert isinstance(effects[0], RunPattern)
    assert effects[0].line == "turns"


def test_every_output_shows_its_own_colour() -> None:
    _, effects = begin(pattern("all-outputs"), CHAIN, able_to("range", "pattern"), now_s=1.0, steady_only=False)
    assert [effect.output for effect in effects if isinstance(effect, ShowRange)] == [0, 1]
    assert len({effect.colour for effect in effects if isinstance(effect, ShowRange)}) == 2
