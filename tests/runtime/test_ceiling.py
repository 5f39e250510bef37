"""The tool's half of the current ceiling: whatever a step wants shown, no order asks for more than the ceiling leaves."""

from __future__ import annotations

import asyncio

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.current import exceeds_ceiling, need_ma
from device_protocol.errors import HostFault
from device_protocol.orders import (
    FEATURES,
    Darken,
    Done,
    Identity,
    LightPixel,
    LightRange,
    Order,
    Paint,
    Palette,
    Reply,
    RestartCause,
    SetupOutput,
    Show,
)
from device_protocol.values import DARK, Colour
from probe.document.model import Chain
from probe.link import Connected
from probe.link.events import ConnectReason
from probe.runtime import Activity, Conductor
from probe.runtime.orders import Limits, showing_orders, under_ceiling
from probe.task.steps import Effect, NotShown, SetUpChain, ShowDark, Showing, Shown, ShowPicture, ShowPixel, ShowRange

WHITE = Colour(255, 255, 255)


def identity(
    *,
    ceiling_ma: int = 1500,
    idle_ua: int = 1000,
    channel_ua: int = 20_000,
    pixels: int = 300,
    features: frozenset[str] = frozenset(FEATURES),
) -> Identity:
    return Identity(
        proto=1, board="example", build="1.0", line=96, outputs=2, pixels=pixels, ceiling_ma=ceiling_ma,
        channel_ua=channel_ua, idle_ua=idle_ua, silence_ms=5000, uptime_ms=0, cause=RestartCause.POWER, table=0,
        features=features,
    )  # fmt: skip


colours = st.builds(Colour, *[st.integers(0, 255)] * 3)
effects = st.one_of(
    st.builds(ShowPixel, st.just(0), st.integers(0, 59), colours),
    st.builds(ShowRange, st.just(0), st.integers(0, 29), st.integers(1, 30), colours),
    st.builds(ShowPicture, st.just(0), st.lists(colours, min_size=1, max_size=60).map(tuple)),
    st.just(ShowDark(0)),
)


def lit(effect: Showing, count: int) -> list[Colour]:
    """The whole chain as an effect shows it."""
    match effect:
        case ShowPixel(_, number, colour):
            return [colour if k == number else DARK for k in range(count)]
        case ShowRange(_, first, many, colour):
            return [colour if first <= k < first + many else DARK for k in range(count)]
        case ShowPicture(_, shown):
            return [*shown, *[DARK] * (count - len(shown))]
        case _:
            return [DARK] * count


@given(effect=effects, ceiling_ma=st.integers(1, 4000), idle_ua=st.integers(0, 3000), channel_ua=st.integers(1, 30_000))
def test_nothing_asked_is_above_the_ceiling(effect: Showing, ceiling_ma: int, idle_ua: int, channel_ua: int) -> None:
    board = identity(idle_ua=idle_ua, channel_ua=channel_ua, ceiling_ma=ceiling_ma)
    figures = {"idle_ua": idle_ua, "channel_ua": channel_ua, "ceiling_ma": ceiling_ma}
    try:
        allowed = under_ceiling(effect, board, Limits(60, ceiling_ma))
    except HostFault:
        assert exceeds_ceiling(lit(effect, 60), **figures)
        return
    assert not exceeds_ceiling(lit(allowed, 60), **figures)
    if not exceeds_ceiling(lit(effect, 60), **figures):
        assert allowed == effect, "what fits is not touched"
    before, after = lit(effect, 60), lit(allowed, 60)
    assert [c.is_dark for c in before] == [c.is_dark for c in after], "nothing lit goes dark unsaid"


def test_dark_is_always_allowed() -> None:
    assert showing_orders(ShowDark(0), identity(ceiling_ma=1, idle_ua=100_000)) == [Darken(0)]


def test_without_a_setup_the_count_is_the_boards_largest() -> None:
    board = identity(ceiling_ma=310, pixels=300)
    (order,) = showing_orders(ShowPixel(0, 3, WHITE), board)
    assert isinstance(order, LightPixel)
    assert 300 + 0.060 * order.colour.total / 3 / 255 * 1000 <= 310.5
    (order,) = showing_orders(ShowPixel(0, 3, WHITE), board, Limits(10, 310))
    assert order == LightPixel(0, 3, WHITE)


def test_a_board_without_ranges_pays_for_one_pixel_only() -> None:
    board = identity(features=frozenset({"setup"}))
    assert showing_orders(ShowRange(0, 2, 30, WHITE), board, Limits(60, 130)) == [LightPixel(0, 2, WHITE)]


class Recorder:
    """A board that does whatever it is told."""

    def __init__(self, who: Identity) -> None:
        self.identity: Identity | None = who
        self.orders: list[Order] = []

    async def do(self, order: Order) -> Reply:
        self.orders.append(order)
        return Done()


async def sent(*wanted: Effect, who: Identity) -> tuple[list[Order], list[object]]:
    """What a conductor sends for effects, and what the step is told."""
    board, told = Recorder(who), list[object]()

    def step(state: int, given: object, now_s: float) -> tuple[int, tuple[Effect, ...]]:
        if isinstance(given, str):
            return state + 1, wanted
        told.append(given)
        return state + 1, ()

    conductor = Conductor()
    conductor.board = board
    conductor.begin(Activity(0, step, lambda state: None))
    conductor.take("go")
    await asyncio.wait_for(conductor.settled(), 5)
    await conductor.stop()
    return board.orders, told


@pytest.mark.parametrize("map_ma", [200, 100_000])
async def test_the_conductor_sends_no_more_than_map_and_board_allow(map_ma: int) -> None:
    """The lower of the map's ceiling and the board's holds; 40 white pixels would need 2440 mA."""
    who = identity(ceiling_ma=600)
    chain = Chain(id="k", name="Kelp", output=0, count=40, ceiling_ma=map_ma)
    orders, told = await sent(SetUpChain(chain), ShowPicture(0, (WHITE,) * 20 + (Colour(255, 0, 0),) * 20), who=who)
    setup = orders[0]
    assert isinstance(setup, SetupOutput)
    assert setup.ceiling_ma == min(map_ma, 600)
    palette: dict[int, Colour] = {}
    picture: list[Colour] = []
    for order in orders[1:]:
        match order:
            case Palette(_, first, entries):
                palette |= dict(enumerate(entries, first))
            case Paint(_, _, numbers):
                picture += [palette.get(number, DARK) for number in numbers]
            case Show():
                pass
            case _:
                raise AssertionError(order)
    assert len(picture) == 40
    need = need_ma(picture, idle_ua=who.idle_ua, channel_ua=who.channel_ua)
    assert setup.ceiling_ma - 30 <= need <= setup.ceiling_ma, "dimmed just enough"
    assert any(isinstance(news, Shown) for news in told)


async def test_a_ceiling_that_leaves_no_light_is_said_and_not_tried() -> None:
    chain = Chain(id="k", name="Kelp", output=0, count=40, ceiling_ma=39)
    orders, told = await sent(SetUpChain(chain), ShowPixel(0, 1, WHITE), who=identity())
    assert [type(order) for order in orders] == [SetupOutput]
    (news,) = [n for n in told if isinstance(n, NotShown)]
    assert "ceiling" in news.why


async def test_a_restarted_board_is_reckoned_as_not_set_up() -> None:
    who = identity(ceiling_ma=320)
    board = Recorder(who)
    conductor = Conductor()
    conductor.board = board
    conductor.begin(Activity(0, lambda s, g, n: (s, g if isinstance(g, tuple) else ()), lambda s: None))
    conductor.take((SetUpChain(Chain(id="k", name="Kelp", output=0, count=10)), ShowRange(0, 0, 5, WHITE)))
    await conductor.settled()
    assert board.orders[-1] == LightRange(0, 0, 5, Colour(255, 255, 255))
    conductor.link_event(Connected(who, "port", ConnectReason.FIRST))
    conductor.take((ShowRange(0, 0, 5, WHITE),))
    await conductor.settled()
    await conductor.stop()
    last = board.orders[-1]
    assert isinstance(last, LightRange)
    assert last.colour.total < 3 * 255, "300 dark pixels leave 20 mA"
