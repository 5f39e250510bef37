"""The board's half, alone and against a simple model."""

from __future__ import annotations

from math import ceil

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from device_protocol.board import (
    BoardConfig,
    ChainWiring,
    ProtocolBoard,
    Sighting,
    SimulatedBoard,
)
from device_protocol.errors import ErrorCode
from device_protocol.framing import (
    BoardLine,
    ErrorLine,
    LineReader,
    NoticeLine,
    ReplyLine,
    encode_order,
    parse_board_line,
    seal,
)
from device_protocol.orders import (
    Darken,
    LightPixel,
    LightRange,
    Order,
    Paint,
    Palette,
    RestartCause,
    SetupOutput,
    Show,
    picture_orders,
)
from device_protocol.values import DARK, Colour
from tests.protocol.strategies import BYTE_ORDERS, RGB, RGBW
from tests.support.examples import examples

RED = Colour(0x20, 0, 0)


def lines_of(data: bytes) -> list[BoardLine]:
    return [parse_board_line(raw) for raw in LineReader(255).feed(data)]


def ask(board: ProtocolBoard, order: Order, now_ms: float = 0, seq: int = 1) -> BoardLine:
    (line,) = lines_of(board.receive_data(encode_order(order.line(seq)), now_ms))
    return line


def refusal(board: ProtocolBoard, order: Order) -> ErrorCode | None:
    line = ask(board, order)
    assert isinstance(line, ErrorLine)
    assert line.seq == 1
    assert line.code is not None
    assert line.name == line.code.word
    return line.code


def started(config: BoardConfig | None = None) -> ProtocolBoard:
    board = ProtocolBoard(config)
    board.tick(0)
    return board


def test_first_words_after_power_up() -> None:
    board = ProtocolBoard(BoardConfig(outputs=2, pixels=3))
    assert board.next_deadline_ms() == 0
    assert board.tick(0) == seal("~00 restarted power")
    assert board.next_deadline_ms() is None
    assert [list(frames) for frames in board.frames] == [[bytes(9)], [bytes(9)]]


def test_a_restart_forgets_everything() -> None:
    board = started()
    ask(board, SetupOutput(0, 5, "RGBW", 100))
    ask(board, LightPixel(0, 4, RED))
    board.receive_data(b">01 half a li", 10)
    assert board.restart(RestartCause.WATCHDOG, 20) == seal("~00 restarted watchdog")
    assert board.receive_data(b"?\n", 25).startswith(b"<00 ok")
    (line,) = lines_of(board.receive_data(seal(">02 state 0"), 30))
    assert line == ReplyLine(2, ("1000", "GRB", "300", "2000", "0", "1000"))
    assert board.frames[0][-1] == bytes(3000)
    assert "uptime=10" in board.identity().fields()
    assert "cause=watchdog" in board.identity().fields()


def test_uptime_wraps_at_two_to_the_32() -> None:
    board = started()
    board.tick(2**32 + 7)
    assert "uptime=7" in board.identity().fields()


def test_notice_numbers_wrap() -> None:
    board = started()
    numbers = [line.seq for _ in range(300) for line in lines_of(board.press_button(0))]
    assert numbers == [number % 256 for number in range(1, 301)]


def test_silence_is_awaited_from_the_last_order_and_told_in_time() -> None:
    board = started()
    ask(board, LightPixel(0, 1, RED), now_ms=100)
    assert board.next_deadline_ms() == 5100
    assert board.tick(5099) == b""
    assert board.tick(5100) == seal("~01 dark silence")
    assert board.next_deadline_ms() is None
    assert board.tick(99_000) == b""


def test_silence_that_ended_before_an_order_is_told_before_its_reply() -> None:
    board = started()
    ask(board, LightPixel(0, 1, RED))
    said = board.receive_data(encode_order(LightPixel(0, 2, RED).line(9)), 7000)
    assert said == seal("~01 dark silence") + seal("<09 ok")
    assert board.outputs[0].picture[2] == RED


def test_a_clock_that_steps_back_does_no_harm() -> None:
    board = started()
    ask(board, LightPixel(0, 1, RED), now_ms=1000)
    assert board.tick(10) == b""
    assert board.tick(6000) == seal("~01 dark silence")


def test_a_board_that_is_not_ready_or_fails_says_so_and_changes_nothing() -> None:
    board = started(BoardConfig(pixels=4))
    ask(board, LightPixel(0, 1, RED))
    frames = board.frames_clocked
    orders = [
        LightPixel(0, 2, RED),
        LightRange(0, 0, 2, RED),
        Darken(),
        SetupOutput(0, 2, "RGB", 10),
        Palette(0, 1, (RED,)),
        Paint(0, 0, (0,)),
        Show(0),
    ]
    board.not_ready = True
    assert {refusal(board, order) for order in orders} == {ErrorCode.NOT_READY}
    assert refusal(board, LightPixel(0, 4, RED)) is ErrorCode.NO_SUCH_PIXEL  # arguments come first
    board.not_ready, board.failing = False, True
    assert {refusal(board, order) for order in orders} == {ErrorCode.INTERNAL}
    board.failing = False
    assert board.frames_clocked == frames
    assert board.outputs[0].picture == [DARK, RED, DARK, DARK]
    assert board.outputs[0].count == 4


@pytest.mark.parametrize("field", [{"outputs": 0}, {"outputs": 17}, {"pixels": 0}, {"line": 63}, {"line": 256}])
def test_boards_that_the_spec_does_not_allow(field: dict[str, int]) -> None:
    with pytest.raises(ValueError, match=next(iter(field))):
        BoardConfig(**field)  # type: ignore[arg-type]


def test_a_board_reached_by_opening_its_port_is_deaf_while_it_starts() -> None:
    board = SimulatedBoard(BoardConfig(pixels=4), [ChainWiring.of_places("abcd")], resets_on_open=True, boot_ms=1500)
    board.tick(0)
    ask(board, LightPixel(0, 1, RED), now_ms=5)
    assert board.lit() == (Sighting("b", RED),)
    assert board.open_port(10) == b""
    assert board.booting
    assert board.receive_data(b"?\n", 1000) == b""
    assert board.press_button(1200) == b""
    assert board.lit() == (Sighting("b", RED),)  # pixels keep their colours until the board clocks out dark
    assert board.next_deadline_ms() == 1510
    assert board.tick(1600) == seal("~00 restarted external")
    assert board.lit() == ()
    assert not board.booting
    assert board.receive_data(b"?\n", 1610).startswith(b"<00 ok")
    assert "uptime=100" in board.identity().fields()


def test_what_is_seen_differs_from_what_is_sent_where_the_wiring_does() -> None:
    wiring = ChainWiring.of_places(["a", "b", None, "a"]).without_light(1)
    board = SimulatedBoard(BoardConfig(outputs=2, pixels=10), [wiring])
    ask_all = [*picture_orders(0, [RED] * 10), LightPixel(1, 3, RED)]
    board.tick(0)
    for order in ask_all:
        assert isinstance(ask(board, order), ReplyLine)
    assert board.lit() == (Sighting("a", RED), Sighting("a", RED))
    assert board.seen("a") == (RED, RED)
    assert board.seen("b") == ()
    assert board.shown(0) == (RED, DARK, RED, RED)
    assert board.shown(1) == ()
    board.rewire(0, board.wiring(0).removed(0))
    assert board.lit() == ()
    ask(board, LightPixel(0, 2, RED))
    assert board.lit() == (Sighting("a", RED),)


def test_more_wirings_than_outputs() -> None:
    with pytest.raises(ValueError, match="2 wirings"):
        SimulatedBoard(BoardConfig(outputs=1), [ChainWiring(), ChainWiring()])


# --- against a simple model --------------------------------------------------------------------------------------------

PIXELS = 12
CONFIG = BoardConfig(outputs=2, pixels=PIXELS, line=64, ceiling_ma=400, channel_ua=20_000, idle_ua=1000)


class BoardModel(RuleBasedStateMachine):
    """What is lit after any orders is what a list of colours says; refused orders change nothing.

    The physical pixels are all of the byte order set up last on their output: after `setup` the chain is changed for one
    that fits, dark, as the board has left it.
    """

    @initialize()
    def power_up(self) -> None:
        self.now_ms = 0.0
        self.board = SimulatedBoard(CONFIG, [ChainWiring.of_places([None] * PIXELS)] * 2)
        self.board.tick(0)
        self._forget()

    def _forget(self) -> None:
        self.count = [PIXELS, PIXELS]
        self.byte_order = ["GRB", "GRB"]
        self.ceiling = [400, 400]
        self.lit = [[DARK] * PIXELS, [DARK] * PIXELS]

    def _ask(self, order: Order) -> BoardLine:
        return ask(self.board, order, self.now_ms)

    def _need_ma(self, output: int, picture: list[Colour]) -> float:
        values = sum(colour.total for colour in picture)
        return (1000 * self.count[output] + ceil(20_000 * values / 255)) / 1000

    def _show(self, output: int, picture: list[Colour], line: BoardLine) -> None:
        """The model's answer to an order that would show `picture` on the chain."""
        lit = any(not colour.is_dark for colour in picture)
        if lit and self._need_ma(output, picture) > self.ceiling[output]:
            assert isinstance(line, ErrorLine)
            assert line.code is ErrorCode.CEILING
            need = ceil(self._need_ma(output, picture))
            assert line.fields == (f"need={need}", f"ceiling={self.ceiling[output]}")
        else:
            assert line == ReplyLine(1)
            self.lit[output] = [*picture, *self.lit[output][len(picture) :]]

    @rule(
        output=st.integers(0, 1),
        count=st.integers(1, PIXELS),
        byte_order=st.sampled_from(BYTE_ORDERS),
        ceiling=st.integers(1, 400),
    )
    def set_up(self, output: int, count: int, byte_order: str, ceiling: int) -> None:
        line = self._ask(SetupOutput(output, count, byte_order, ceiling))
        assert line == ReplyLine(1, (str(count), byte_order, "300", str(ceiling)))
        assert self.board.shown(output) == (DARK,) * PIXELS  # whatever was lit, tail included
        self.board.rewire(output, ChainWiring.of_places([None] * PIXELS, byte_order=byte_order))
        self.count[output], self.byte_order[output], self.ceiling[output] = count, byte_order, ceiling
        self.lit[output] = [DARK] * PIXELS

    def _fits(self, output: int, colour: Colour) -> bool:
        return "W" in self.byte_order[output] or colour.white == 0

    @rule(output=st.integers(0, 2), pixel=st.integers(0, PIXELS), colour=RGB | RGBW)
    def light(self, output: int, pixel: int, colour: Colour) -> None:
        line = self._ask(LightPixel(output, pixel, colour))
        if output == 2:
            assert isinstance(line, ErrorLine)
            assert line.code is ErrorCode.NO_SUCH_OUTPUT
        elif pixel >= self.count[output]:
            assert isinstance(line, ErrorLine)
            assert line.code is ErrorCode.NO_SUCH_PIXEL
        elif not self._fits(output, colour):
            assert isinstance(line, ErrorLine)
            assert line.code is ErrorCode.BAD_VALUE
        else:
            self._show(output, [colour if at == pixel else DARK for at in range(self.count[output])], line)

    @rule(output=st.integers(0, 1), first=st.integers(0, PIXELS), count=st.integers(1, PIXELS), colour=RGB)
    def light_range(self, output: int, first: int, count: int, colour: Colour) -> None:
        line = self._ask(LightRange(output, first, count, colour))
        if first + count > self.count[output]:
            assert isinstance(line, ErrorLine)
            assert line.code is ErrorCode.NO_SUCH_PIXEL
        else:
            chain = range(self.count[output])
            self._show(output, [colour if first <= at < first + count else DARK for at in chain], line)

    @rule(output=st.integers(0, 1), data=st.data())
    def paint(self, output: int, data: st.DataObject) -> None:
        table = data.draw(st.lists(RGBW if "W" in self.byte_order[output] else RGB, min_size=1, max_size=5))
        picture = data.draw(
            st.lists(st.sampled_from([DARK, *table]), min_size=self.count[output], max_size=self.count[output])
        )
        *orders, last = picture_orders(output, picture, line_limit=CONFIG.line)
        for order in orders:
            assert isinstance(self._ask(order), ReplyLine)
            if data.draw(st.booleans()):
                assert isinstance(self._ask(order), ReplyLine)  # asked again
        self._show(output, picture, self._ask(last))

    @rule(output=st.integers(0, 1), count=st.integers(1, PIXELS))
    def stage_part_and_show(self, output: int, count: int) -> None:
        """A picture that is not complete is never shown."""
        if count < self.count[output]:
            assert self._ask(Paint(output, 0, (1,) * count)) == ReplyLine(1, (str(count),))
            line = self._ask(Show(output))
            assert isinstance(line, ErrorLine)
            assert (line.code, line.fields) == (ErrorCode.INCOMPLETE, (f"staged={count}",))

    @rule(output=st.none() | st.integers(0, 1))
    def dark(self, output: int | None) -> None:
        assert self._ask(Darken(output)) == ReplyLine(1)
        for number in (0, 1) if output is None else (output,):
            self.lit[number] = [DARK] * PIXELS

    @rule(noise=st.binary(max_size=120))
    def noise(self, noise: bytes) -> None:
        for line in lines_of(self.board.receive_data(noise + b"\n", self.now_ms)):
            if not (isinstance(line, ReplyLine) and line.seq == 0 and noise.strip(b"\r\n").endswith(b"?")):
                assert isinstance(line, ErrorLine)
                assert line.seq is None

    @rule()
    def lose_bytes_of_an_order(self) -> None:
        self.board.mark_lost_bytes()
        (line,) = lines_of(self.board.receive_data(encode_order(Darken().line(1)), self.now_ms))
        assert line == ErrorLine(None, 14, "lost-bytes")

    @rule()
    def fall_silent(self) -> None:
        self.now_ms += 5000
        for line in lines_of(self.board.tick(self.now_ms)):
            assert isinstance(line, NoticeLine)
            assert (line.word, line.fields) == ("dark", ("silence",))
        self.lit = [[DARK] * PIXELS, [DARK] * PIXELS]

    @precondition(lambda self: self.now_ms > 0)
    @rule(cause=st.sampled_from(RestartCause))
    def restart(self, cause: RestartCause) -> None:
        assert self.board.restart(cause, self.now_ms) == seal(f"~00 restarted {cause.value}")
        for output in (0, 1):
            reached = 3 * PIXELS // len(self.byte_order[output])  # of four-colour pixels not all (SPEC 4.1)
            assert list(self.board.shown(output)) == [DARK] * reached + self.lit[output][reached:]
            self.board.rewire(output, ChainWiring.of_places([None] * PIXELS))
        self._forget()

    @invariant()
    def what_is_lit_is_what_the_model_says(self) -> None:
        for output in (0, 1):
            assert list(self.board.shown(output)) == self.lit[output]
            assert self._need_ma(output, self.lit[output]) <= self.ceiling[output] or not any(
                colour.total for colour in self.lit[output]
            )


TestBoardModel = BoardModel.TestCase
TestBoardModel.settings = settings(max_examples=examples(60), stateful_step_count=30, deadline=None)
