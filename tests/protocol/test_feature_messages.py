"""Orders, replies and notices of table, play, pattern, inputs and count; the simulated board behind them."""

from __future__ import annotations

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.errors import BoardFault, HostFault
from device_protocol.framing import NoticeLine, crc16, encode_order
from device_protocol.lamp_table import (
    BoardLampTable,
    TableEntry,
    TableGroup,
    TableLamp,
    TableOutput,
    encode_table,
)
from device_protocol.orders import (
    Alive,
    BytesStaged,
    ChainCount,
    CommitTable,
    Committed,
    CountChain,
    EdgeCounts,
    EraseTable,
    InputsNotice,
    InputStates,
    LightGroup,
    LightLamp,
    Linger,
    LingerSet,
    NoPattern,
    Notice,
    Order,
    PatternKeep,
    PatternKind,
    PatternLine,
    PatternState,
    PixelsLit,
    Play,
    Player,
    PlayNotice,
    PlayState,
    ReadEdges,
    ReadInputs,
    ReadPattern,
    ReadTable,
    ReadTableState,
    Reply,
    RestartCause,
    RunPattern,
    TableBytes,
    TableState,
    UnknownNotice,
    WatchInputs,
    WriteTable,
    parse_notice,
    table_orders,
    table_read_orders,
)
from device_protocol.values import Colour

RED = Colour(32, 0, 0)
CASES: list[tuple[Order, str, str, Reply]] = [
    (
        ReadTableState(),
        "table",
        "7 50 B452 500 0",
        TableState(revision=7, length=50, crc=0xB452, capacity=500, staged=0),
    ),
    (WriteTable(16, b"\x00\xab"), "write 16 00AB", "18", BytesStaged(18)),
    (ReadTable(3, 2), "read 3 2", "00AB", TableBytes(b"\x00\xab")),
    (CommitTable(50, 0xB452, 7), "commit 50 B452 7", "7", Committed(7)),
    (Play(), "play", "host 64 16 160", PlayState(player=Player.HOST, lamps=64, groups=16, pixels=160)),
    (Play(Player.GAME), "play game", "game 64 16 160", PlayState(player=Player.GAME, lamps=64, groups=16, pixels=160)),
    (LightLamp(12), "lamp 12 255", "2", PixelsLit(2)),
    (LightGroup(0, 40), "group 0 40", "9", PixelsLit(9)),
    (ReadPattern(0), "running 0", "none", NoPattern()),
    (
        ReadPattern(0),
        "running 0",
        "all once hold 1000 3",
        PatternState(
            kind=PatternKind.WHOLE, sending=PatternLine.ONCE, keep=PatternKeep.HOLD, step_ms=1000, steps_done=3
        ),
    ),
    (ReadInputs(), "inputs 1", "8 05", InputStates(1, 8, (True, False, True) + (False,) * 5)),
    (ReadInputs(7), "inputs 7", "8 02", InputStates(7, 8, (False, True))),
    (ReadEdges(7), "edges 7", "0 65535", EdgeCounts(7, (0, 65_535))),
    (Linger(40), "linger 40", "40", LingerSet(40)),
    (CountChain(0, 100, 4), "count 0 100 4", "83 84 384", ChainCount(83, 84, 384)),
]


@pytest.mark.parametrize(("order", "words", "fields", "reply"), CASES)
def test_orders_as_written_and_answered(order: Order, words: str, fields: str, reply: Reply) -> None:
    assert " ".join((order.WORD, *order.arguments())) == words
    assert order.parse_reply(tuple(fields.split())) == reply
    assert reply.fields() == tuple(fields.split())


@pytest.mark.parametrize(
    ("order", "words"),
    [
        (EraseTable(), "erase"),
        (WatchInputs(True), "watch on"),
        (WatchInputs(False), "watch off"),
        (RunPattern(0, PatternKind.WHOLE, (RED,)), "run 0 all send live 1000 200000"),
        (
            RunPattern(1, PatternKind.WALK, (RED,), 400, PatternLine.ONCE, PatternKeep.HOLD),
            "run 1 walk once hold 400 200000",
        ),
    ],
)
def test_orders_that_are_only_done(order: Order, words: str) -> None:
    assert " ".join((order.WORD, *order.arguments())) == words


def test_every_order_fits_the_least_line() -> None:
    longest: list[Order] = [
        WriteTable(65_535, bytes(16)),
        RunPattern(15, PatternKind.WHOLE, (RED,) * 4, 60_000, PatternLine.TURNS, PatternKeep.HOLD),
        CommitTable(65_535, 0xFFFF, 999_999_999),
    ]
    assert max(len(encode_order(order.line(255))) - 1 for order in longest) <= 64


@pytest.mark.parametrize(
    ("order", "fields"),
    [
        (ReadTableState(), "7 50 B45 500 0"),
        (ReadTableState(), "7 50 b452 500 0"),
        (WriteTable(16, b"\x00"), "18"),
        (ReadTable(3, 2), "00"),
        (ReadTable(3, 2), "0"),
        (CommitTable(50, 0, 7), "8"),
        (Play(Player.GAME), "host 64 16 160"),
        (Play(), "nobody 64 16 160"),
        (ReadPattern(0), "all"),
        (ReadPattern(0), "half once hold 1000 3"),
        (ReadInputs(1), "9 05"),
        (ReadInputs(9), "8 05"),
        (ReadEdges(1), ""),
        (ReadEdges(1), "0 0 0 0 0 0 0 0 0"),
        (Linger(40), "41"),
        (CountChain(0, 1), "1 1"),
        (ReadTableState(), "7 50 B452 65536 0"),
        (ReadTableState(), "7 501 B452 500 0"),
        (ReadTableState(), "7 50 B452 500 501"),
        (Play(), "host 65536 16 160"),
        (Play(), "host 64 65 160"),
        (Play(), "host 64 16 65536"),
        (ReadInputs(1), "256 0000000000000000"),
        (ReadInputs(1), "999999999 0000000000000000"),
        (EraseTable(), "1"),
    ],
)
def test_replies_that_do_not_answer_the_order(order: Order, fields: str) -> None:
    with pytest.raises(BoardFault):
        order.parse_reply(tuple(fields.split()))


@pytest.mark.parametrize(
    "make",
    [
        lambda: WriteTable(0, b""),
        lambda: WriteTable(0, bytes(17)),
        lambda: ReadTable(0, 65),
        lambda: CommitTable(4, 0, 1),
        lambda: CommitTable(5, 0x10000, 1),
        lambda: CommitTable(5, 0, 0),
        lambda: LightLamp(1, 256),
        lambda: LightGroup(-1),
        lambda: RunPattern(0, PatternKind.WHOLE, ()),
        lambda: RunPattern(0, PatternKind.WHOLE, (RED,) * 5),
        lambda: RunPattern(0, PatternKind.WALK, (RED,) * 2),
        lambda: RunPattern(0, PatternKind.WHOLE, (RED,), 166),
        lambda: RunPattern(0, PatternKind.WHOLE, (RED,), 60_001),
        lambda: ReadInputs(0),
        lambda: Linger(0),
        lambda: Linger(251),
        lambda: CountChain(0, 0),
        lambda: CountChain(0, 1, 9),
    ],
)
def test_what_no_board_can_do_is_our_fault(make: object) -> None:
    assert callable(make)
    with pytest.raises(HostFault):
        make()


@pytest.mark.parametrize(
    ("line", "notice"),
    [
        (NoticeLine(1, "inputs", ("1", "05")), InputsNotice(1, (True, False, True) + (False,) * 5)),
        (NoticeLine(1, "inputs", ("1", "5")), UnknownNotice("inputs", ("1", "5"))),
        (NoticeLine(1, "inputs", ("x", "05")), UnknownNotice("inputs", ("x", "05"))),
        (NoticeLine(1, "play", ("game",)), PlayNotice()),
        (NoticeLine(1, "play", ("on",)), UnknownNotice("play", ("on",))),
    ],
)
def test_notices(line: NoticeLine, notice: Notice) -> None:
    assert parse_notice(line) == notice
    assert notice.line(1) == line


TABLE = BoardLampTable(
    outputs=(TableOutput(0, 5, "GRB", 450),),
    entries=(
        TableEntry(TableLamp(1), 0, 2, RED),
        TableEntry(TableLamp(1), 0, 4, RED),
        TableEntry(TableGroup(0), 0, 0, Colour(0, 0, 9)),
    ),
)


class Talk:
    """A simulated board and its clock; replies are read by the order that they answer."""

    def __init__(self, board: SimulatedBoard) -> None:
        self.board = board
        self.now_ms = 0.0
        self.said = board.tick(0)

    def ask(self, order: Order) -> object:
        line = self.board.receive_data(encode_order(order.line(1)), self.now_ms).split(b"\n")[0]
        assert line.startswith(b"<01 ok"), (order, line)
        return order.parse_reply(tuple(line[:-5].decode().split()[2:]))

    def wait(self, ms: float) -> bytes:
        self.now_ms += ms
        return self.board.tick(self.now_ms)

    def seen(self) -> dict[str, Colour]:
        return dict(self.board.lit())


@pytest.fixture
def talk() -> Talk:
    board = SimulatedBoard(BoardConfig(pixels=50), [ChainWiring.of_places("abcde")], return_wires=[0])
    return Talk(board)


def test_a_table_goes_in_and_outlasts_a_restart(talk: Talk) -> None:
    image = encode_table(TABLE)
    for order in table_orders(image, 3):
        talk.ask(order)
    talk.board.restart(RestartCause.POWER, talk.now_ms)
    state = talk.ask(ReadTableState())
    assert isinstance(state, TableState)
    assert (state.revision, state.length, state.crc, state.staged) == (3, len(image), crc16(image), 0)
    parts = [talk.ask(order) for order in table_read_orders(state.length)]
    assert b"".join(part.data for part in parts if isinstance(part, TableBytes)) == image
    talk.wait(30)
    assert talk.seen() == {"a": Colour(0, 0, 9)}, "the game has the pixels again, and its group is lit"


def test_the_game_s_inputs_light_its_lamps_until_the_host_takes_over(talk: Talk) -> None:
    for order in [*table_orders(encode_table(TABLE), 3), Play(Player.GAME)]:
        talk.ask(order)
    talk.board.set_input(1, True, talk.now_ms)
    talk.wait(40)
    assert talk.seen() == {"a": Colour(0, 0, 9), "c": RED, "e": RED}
    assert talk.ask(LightLamp(1)) == PixelsLit(2)
    assert talk.seen() == {"c": RED, "e": RED}
    talk.board.set_input(1, False, talk.now_ms)
    assert b"dark silence" in talk.wait(5_000)
    assert talk.seen() == {}
    assert b"play game" in talk.wait(1_000)
    talk.wait(40)
    assert talk.seen() == {"a": Colour(0, 0, 9)}


def test_a_program_of_the_board_s_own_asks_for_lamps(talk: Talk) -> None:
    for order in [*table_orders(encode_table(TABLE), 3), Play(Player.GAME)]:
        talk.ask(order)
    talk.board.ask_lamp(TableLamp(1), 128, talk.now_ms)
    talk.board.ask_lamp(TableGroup(0), 0, talk.now_ms)
    talk.wait(40)
    assert talk.seen() == {"c": Colour(16, 0, 0), "e": Colour(16, 0, 0)}


def test_the_return_wire_counts_what_is_really_there(talk: Talk) -> None:
    assert talk.ask(CountChain(0, 50, 2)) == ChainCount(5, 5, 45 * 24)
    talk.board.rewire(0, ChainWiring.of_places("abcdefg"))
    assert talk.ask(CountChain(0, 50)) == ChainCount(7, 7, 43 * 24)
    talk.board.rewire(0, ChainWiring.of_places("abcdefg").with_dead_output(3))
    assert talk.ask(CountChain(0, 50)) == ChainCount(50, 50, 0)


def test_a_pattern_reaches_pixels_that_lost_power_and_came_back(talk: Talk) -> None:
    """`send` goes on sending; `once` leaves the evidence."""
    talk.ask(RunPattern(0, PatternKind.WHOLE, (RED,)))
    talk.board.rewire(0, ChainWiring.of_places("abc"))
    talk.wait(10)
    assert set(talk.seen()) == {"a", "b", "c"}
    talk.ask(RunPattern(0, PatternKind.WHOLE, (RED,), sending=PatternLine.ONCE, keep=PatternKeep.HOLD))
    talk.board.rewire(0, ChainWiring.of_places("abc"))
    talk.wait(10_000)
    assert talk.seen() == {}


def test_an_input_that_there_is_not(talk: Talk) -> None:
    with pytest.raises(IndexError):
        talk.board.set_input(9, True, 0)


def test_edges_are_counted_modulo_65536(talk: Talk) -> None:
    """SPEC 5.25."""
    talk.board.inputs.edges[0] = 65_535
    talk.board.set_input(1, True, talk.now_ms)
    assert talk.ask(ReadEdges()) == EdgeCounts(1, (0,) * 8)


def test_the_same_image_under_another_revision_is_written(talk: Talk) -> None:
    """SPEC 5.17: only length, checksum and revision together mean that nothing is to be done."""
    image = encode_table(TABLE)
    for revision in (3, 4):
        for order in table_orders(image, revision):
            talk.ask(order)
        state = talk.ask(ReadTableState())
        assert isinstance(state, TableState)
        assert state.revision == revision


def test_an_order_after_the_silence_keeps_the_pixels_from_the_game(talk: Talk) -> None:
    """SPEC 13.5: given back 1,000 ms after going dark, unless an order has come meanwhile."""
    for order in [*table_orders(encode_table(TABLE), 3), LightLamp(1)]:
        talk.ask(order)
    assert b"dark silence" in talk.wait(5_000)
    talk.wait(500)
    talk.ask(Alive())
    assert b"play game" not in talk.wait(1_500)
    assert talk.seen() == {}


def test_what_the_game_shows_no_silence_darkens(talk: Talk) -> None:
    for order in [*table_orders(encode_table(TABLE), 3), Play(Player.GAME)]:
        talk.ask(order)
    talk.wait(40)
    assert b"dark" not in talk.wait(10_000)
    assert talk.seen() == {"a": Colour(0, 0, 9)}


def test_a_held_pattern_outlasts_silence_and_keeps_the_pixels_from_the_game(talk: Talk) -> None:
    for order in table_orders(encode_table(TABLE), 3):
        talk.ask(order)
    talk.ask(RunPattern(0, PatternKind.WHOLE, (RED,), keep=PatternKeep.HOLD))
    said = talk.wait(5_000) + talk.wait(5_000)
    assert b"play game" not in said
    assert talk.seen() == dict.fromkeys("abcde", RED)


def test_a_table_half_put_in_is_forgotten_at_a_restart(talk: Talk) -> None:
    begin, part, *_ = table_orders(encode_table(TABLE), 3)
    talk.ask(begin)
    talk.ask(part)
    state = talk.ask(ReadTableState())
    assert isinstance(state, TableState)
    assert state.staged > 0
    talk.board.restart(RestartCause.POWER, talk.now_ms)
    after = talk.ask(ReadTableState())
    assert isinstance(after, TableState)
    assert after.staged == 0
