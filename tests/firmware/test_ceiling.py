"""The current ceiling (SPEC 4.3 to 4.5), computed by the C core in 32 bits, against exact fractions."""

from __future__ import annotations

from fractions import Fraction
from math import ceil

import pytest

from tests.firmware import build
from tests.firmware.host_board import HostBoard
from tests.firmware.orders import Answer, order, read_answer

CHANNEL_UA = 18_501
IDLE_UA = 701
ODD_BUILD = {"PP_OUTPUTS": 1, "PP_CHANNEL_UA": CHANNEL_UA, "PP_IDLE_UA": IDLE_UA, "PP_PIXELS": 40}
"""Currents with which every rounding shows somewhere."""


def ask(board: HostBoard, text: str) -> Answer:
    """The answer to an order."""
    return read_answer(board.send(order(1, text)).removesuffix(b"\n"))


def exact_ma(count: int, values: int, *, channel_ua: int = CHANNEL_UA, idle_ua: int = IDLE_UA) -> Fraction:
    """Need of a chain whose colour values have this sum."""
    return (count * idle_ua + Fraction(channel_ua * values, 255)) / 1000


def colour(values: int) -> str:
    """A colour of three values with this sum, 0 to 765."""
    parts = [min(255, max(0, values - 255 * n)) for n in range(3)]
    return bytes(parts).hex().upper()


def rounding_cases() -> list[tuple[int, int]]:
    """Counts and sums where a need rounded down to uA, instead of up, would give another number of mA."""
    return [
        (count, values)
        for count in range(1, 41)
        for values in range(766)
        if ceil(Fraction(int(exact_ma(count, values) * 1000), 1000)) != ceil(exact_ma(count, values))
    ]


@pytest.mark.slow
def test_need_is_rounded_up_at_every_step() -> None:
    cases = rounding_cases()
    assert len(cases) >= 5
    with HostBoard(build.build_host(ODD_BUILD)) as board:
        board.start()
        for count, values in [*cases, (1, 0), (40, 765), (7, 1), (7, 254), (7, 255), (7, 256)]:
            ask(board, f"setup 0 {count} GRB 300 2000")
            assert ask(board, f"light 0 0 {colour(values)}").good
            assert ask(board, "state 0").fields[-1] == str(ceil(exact_ma(count, values))), (count, values)


def test_the_ceiling_itself_is_allowed_and_one_below_is_not() -> None:
    with HostBoard(build.build_host(ODD_BUILD)) as board:
        board.start()
        for count, values in ((1, 765), (40, 765), (40, 3), *rounding_cases()):
            need = ceil(exact_ma(count, values))
            ask(board, f"setup 0 {count} GRB 300 {need}")
            assert ask(board, f"light 0 0 {colour(values)}").good
            ask(board, f"setup 0 {count} GRB 300 {need - 1}")
            frames = board.frame(0)[1]
            refused = ask(board, f"light 0 0 {colour(values)}")
            assert refused.fields == ("32", "ceiling", f"need={need}", f"ceiling={need - 1}")
            assert board.frame(0)[1] == frames, "nothing is clocked out"


@pytest.mark.slow
@pytest.mark.parametrize("channel_ua", [20_000, 1])
def test_the_largest_need_does_not_overflow(channel_ua: int) -> None:
    config = {
        "PP_OUTPUTS": 1,
        "PP_PIXELS": 50_000,
        "PP_CEILING_MA": 4_000_000,
        "PP_CHANNEL_UA": channel_ua,
        "PP_IDLE_UA": 1000,
    }
    need = ceil(exact_ma(50_000, 50_000 * 4 * 255, channel_ua=channel_ua, idle_ua=1000))
    with HostBoard(build.build_host(config)) as board:
        board.start()
        ask(board, "setup 0 50000 RGBW 300 4000000")
        answer = ask(board, "range 0 0 50000 FFFFFFFF")
        if need > 4_000_000:
            assert answer.fields == ("32", "ceiling", f"need={need}", "ceiling=4000000")
        else:
            assert answer.good
            assert ask(board, "state 0").fields[-1] == str(need)


def test_a_refused_picture_stays_staged_and_can_be_shown_dimmer() -> None:
    with HostBoard(build.build_host(ODD_BUILD)) as board:
        board.start()
        ask(board, "setup 0 40 GRB 300 100")
        ask(board, "palette 0 1 FFFFFF")
        ask(board, "paint 0 0 b40")
        assert ask(board, "show 0").code == "32"
        assert ask(board, "show 0").code == "32", "still staged: not 35"
        ask(board, "palette 0 1 010101")
        ask(board, "paint 0 0 b40")
        assert ask(board, "show 0").good
