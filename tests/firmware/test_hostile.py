"""Anything at all on the line, against the core under AddressSanitizer and UBSan: one reply for every non-empty line, and
the same replies and frames as the Python board."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.framing import crc16
from device_protocol.lamp_table import (
    BoardLampTable,
    TableEntry,
    TableGroup,
    TableLamp,
    TableOutput,
    encode_table,
)
from device_protocol.orders import RestartCause, table_orders
from device_protocol.values import Colour
from tests.firmware import build
from tests.firmware.host_board import HostBoard
from tests.firmware.orders import read_answer
from tests.support.examples import examples, first_now

DEBOUNCE_MS = 25

QUICK = settings(max_examples=examples(300), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

NUMBERS = st.one_of(
    st.integers(0, 20).map(str),
    st.sampled_from(
        [
            "999",
            "1000",
            "1001",
            "255",
            "65535",
            "65536",
            "4294967296",
            "999999999",
            "1000000000",
            "00",
            "01",
            "-1",
            "+1",
            "1.0",
            "0x1",
            "",
            "all",
            "1e3",
            "9" * 40,
        ]
    ),
)
COLOURS = st.one_of(
    st.sampled_from(["000000", "FFFFFF", "00000000", "FFFFFFFF", "ff0000", "FFFFF", "FFFFFFF", "GG0000", "-10000"]),
    st.text("0123456789ABCDEF", min_size=6, max_size=6),
    st.text("0123456789ABCDEF", min_size=8, max_size=8),
)
RUNS = st.one_of(
    st.lists(st.tuples(st.sampled_from("abcdefghijklmnop"), st.integers(1, 12)), min_size=1, max_size=8).map(
        lambda runs: "".join(letter + (str(times) if times > 1 else "") for letter, times in runs)
    ),
    st.sampled_from(["a1", "a0", "a02", "a65535", "a65536", "a1000", "a999b", "q", "aA", "7", "a-1", "a" * 60, "p20"]),
)
BYTE_ORDERS = st.sampled_from(["RGB", "GRB", "BGR", "RGBW", "WRGB", "GRBW", "RRB", "RG", "rgb", "RGBWW", "RGW", ""])
SMALL = st.integers(0, 14).map(str)


def _words(*parts: st.SearchStrategy[str] | str) -> st.SearchStrategy[str]:
    return st.tuples(*[st.just(part) if isinstance(part, str) else part for part in parts]).map(" ".join)


SOUND_ORDERS = st.one_of(
    _words("light", "0", SMALL, COLOURS),
    _words("range", "0", SMALL, SMALL, COLOURS),
    _words("setup", "0", st.integers(1, 14).map(str), BYTE_ORDERS, st.just("300"), st.integers(10, 2000).map(str)),
    _words("palette", "0", st.integers(0, 16).map(str), COLOURS),
    _words("palette", "0", st.integers(1, 13).map(str), COLOURS, COLOURS, COLOURS),
    _words("paint", "0", SMALL, RUNS),
    _words("paint", "0", "0", st.integers(1, 14).map(lambda n: f"b{n}" if n > 1 else "b")),
    st.just("show 0"),
    st.just("state 0"),
    st.just("dark 0"),
    st.just("dark all"),
    st.just("alive"),
    st.just("id"),
    _words("silence", st.integers(400, 6000).map(str)),
)
TABLE = BoardLampTable(
    outputs=(TableOutput(0, 14, "GRB", 60),),
    entries=(
        TableEntry(TableLamp(1), 0, 3, Colour(255, 180, 64), 128),
        TableEntry(TableLamp(2), 0, 4, Colour(0, 255, 0)),
        TableEntry(TableLamp(2), 0, 5, Colour(0, 255, 0)),
        TableEntry(TableLamp(9), 0, 3, Colour(1, 2, 3, 4), 77),
        TableEntry(TableGroup(0), 0, 11, Colour(255, 255, 255)),
        TableEntry(TableGroup(3, True), 0, 0, Colour(16, 0, 0)),
    ),
    rise_ms=60,
    fall_ms=100,
)
IMAGES = (encode_table(TABLE), encode_table(BoardLampTable(outputs=(TableOutput(0, 8, "RGBW", 40),), entries=(
    TableEntry(TableLamp(3), 0, 5, Colour(0, 0, 90, 200)), TableEntry(TableLamp(1), 0, 1, Colour(9, 8, 7, 6))))))  # fmt: skip
TABLE_ORDERS = [
    [" ".join((each.WORD, *each.arguments())) for each in table_orders(image, revision)]
    for revision, image in enumerate(IMAGES, start=5)
]
KINDS, SENDINGS, KEEPS = (st.sampled_from(words.split()) for words in ("all walk", "send once turns", "live hold"))
STEPS = st.sampled_from(["167", "500", "1000", "166", "60000"])
HEX = st.one_of(
    st.binary(min_size=1, max_size=17).map(lambda data: data.hex().upper()), st.sampled_from(["0", "0g", "ab"])
)
FEATURE_ORDERS = st.one_of(
    st.sampled_from([text for orders in TABLE_ORDERS for text in orders]),
    st.sampled_from(
        ["table", "erase", "play", "play game", "play host", "running 0", "inputs 1", "edges 1", "count 0 20 2"]
    ),
    _words("lamp", st.integers(0, 10).map(str), st.sampled_from(["0", "1", "128", "255", "256"])),
    _words("group", st.integers(0, 4).map(str), st.sampled_from(["0", "20", "255"])),
    _words("run", "0", KINDS, SENDINGS, KEEPS, STEPS, COLOURS),
    _words("run", "0", KINDS, SENDINGS, KEEPS, STEPS, COLOURS, COLOURS),
    _words("write", SMALL, HEX),
    _words("read", SMALL, SMALL),
    _words("linger", st.integers(0, 251).map(str)),
)
HOSTILE_FEATURE_ORDERS = st.one_of(
    _words("write", NUMBERS, HEX),
    _words("read", NUMBERS, NUMBERS),
    _words("commit", NUMBERS, st.text("0123456789ABCDEF", min_size=3, max_size=5), NUMBERS),
    _words(st.sampled_from(["lamp", "group"]), NUMBERS, NUMBERS),
    _words("run", NUMBERS, KINDS, SENDINGS, KEEPS, NUMBERS, COLOURS, COLOURS, COLOURS, COLOURS),
    _words("count", NUMBERS, NUMBERS, NUMBERS),
    _words(st.sampled_from(["table", "erase", "play", "running", "inputs", "edges", "linger"]), NUMBERS),
)
HOSTILE_ORDERS = st.one_of(
    _words("light", NUMBERS, NUMBERS, COLOURS),
    _words("range", NUMBERS, NUMBERS, NUMBERS, COLOURS),
    _words("setup", NUMBERS, NUMBERS, BYTE_ORDERS, NUMBERS, NUMBERS),
    _words("palette", NUMBERS, NUMBERS, COLOURS, COLOURS),
    _words("paint", NUMBERS, NUMBERS, RUNS),
    _words(st.sampled_from(["show", "state", "dark", "silence", "id", "alive", "step", "ID", "a" * 13]), NUMBERS),
    st.lists(st.sampled_from(["light", "0", " ", "*", ">", "-1"]), max_size=12).map(" ".join),
    st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=100),
)


def sealed(text: str, seq: int, tail: bytes) -> bytes:
    """An order with a right CRC, whatever its text."""
    body = f">{seq:02X} {text}".encode("ascii")
    return b"%b*%04X" % (body, crc16(body)) + tail


TAILS = st.sampled_from([b"\n", b"\n", b"\n", b"\r\n", b"\r\r\n", b" \n", b"\n\n"])
LINES = st.builds(
    sealed,
    st.one_of(SOUND_ORDERS, FEATURE_ORDERS, HOSTILE_ORDERS, HOSTILE_FEATURE_ORDERS),
    st.integers(0, 255),
    TAILS,
)
WHOLE_TABLES = st.sampled_from(
    [b"".join(sealed(text, seq, b"\n") for seq, text in enumerate(orders)) for orders in TABLE_ORDERS]
)
WATCH = st.sampled_from([sealed("watch on", 1, b"\n"), sealed("watch off", 2, b"\n")])
JUNK = st.one_of(
    st.binary(max_size=130),
    st.lists(st.sampled_from([b"\x00", b"\t", b"\r", b"\x7f", b"\xff", b"\n", b"?", b"\r\n", b"+", b"-", b">"]),
             max_size=40).map(b"".join),
    st.integers(90, 100).map(lambda length: b"x" * length + b"\n"),
    st.integers(94, 99).map(lambda length: b"x" * length + b"\r\n"),
    st.just(b"?\n"),
)  # fmt: skip


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """A sound line with one byte flipped, dropped or doubled."""
    line = draw(LINES)
    at = draw(st.integers(0, len(line) - 1))
    match draw(st.integers(0, 2)):
        case 0:
            return line[:at] + bytes([line[at] ^ 1 << draw(st.integers(0, 7))]) + line[at + 1 :]
        case 1:
            return line[:at] + line[at + 1 :]
        case _:
            return line[:at] + line[at : at + 1] + line[at:]


BYTES = st.one_of(LINES, LINES, JUNK, damaged())


@pytest.fixture(scope="module")
def board(host_program: Path) -> Iterator[HostBoard]:
    """One board program for all examples; each begins with a restart."""
    with HostBoard(host_program) as board:
        yield board


def lines_with_content(data: bytes) -> int:
    """Lines that LF ends and that are not empty; one CR before LF is not content (SPEC 2.2, 2.3)."""
    return sum(line.removesuffix(b"\r") != b"" for line in data.split(b"\n")[:-1])


@pytest.mark.slow
@QUICK
@given(st.lists(BYTES, max_size=30).map(b"".join))
@example(b"\x00\t\r\x7f\xff+-\n")
@example(b"x" * 5000 + b"\n" + b"?\n")
@example(b"\r\r\n\r\n\n \n")
@example(b">00 id*29B1\n>00  id*0000\n")
def test_one_reply_for_every_line(board: HostBoard, data: bytes) -> None:
    board.start()
    board.take_sent()
    board.send(data)
    answers = [read_answer(line) for line in board.take_sent().split(b"\n")[:-1]]
    assert [answer.kind for answer in answers if answer.kind not in "<!"] == []
    assert len(answers) == lines_with_content(data)


@pytest.mark.slow
@QUICK
@given(st.lists(BYTES, max_size=12).map(b"".join), st.data())
def test_pieces_do_not_matter(board: HostBoard, data: bytes, pick: st.DataObject) -> None:
    board.start()
    board.take_sent()
    board.send(data)
    whole = board.take_sent()
    board.start()
    board.take_sent()
    while data:
        size = pick.draw(st.integers(1, len(data)))
        board.send(data[:size])
        data = data[size:]
    assert board.take_sent() == whole


class Both:
    """The C core and the Python board, given the same things."""

    def __init__(self, c_board: HostBoard, config: BoardConfig) -> None:
        self.c_board = c_board
        self.outputs = config.outputs
        self.now_ms = 0
        self.python = ProtocolBoard(config, now_ms=0)
        c_board.start()
        c_board.blank()
        for number in range(1, config.inputs + 1):
            c_board.set_input(number, False)
        self.check(self.python.tick(0), c_board.start())

    def check(self, python_sent: bytes, c_sent: bytes) -> None:
        """The same bytes were sent and the same frames are out."""
        assert python_sent == c_sent
        for output in range(self.outputs):
            assert self.c_board.frame(output)[2] == self.python.frames[output][-1]

    def send(self, data: bytes) -> None:
        self.check(self.python.receive_data(data, self.now_ms), self.c_board.send(data))

    def wait(self, ms: int) -> None:
        self.now_ms += ms
        self.check(self.python.tick(self.now_ms), self.c_board.advance(ms))

    def input(self, number: int, on: bool) -> None:
        self.check(self.python.set_input(number, on, self.now_ms), self.c_board.set_input(number, on))

    def game(self, whose: TableLamp | TableGroup, level: int) -> None:
        python_sent = self.python.ask_lamp(whose, level, self.now_ms)
        ask = self.c_board.set_lamp if isinstance(whose, TableLamp) else self.c_board.set_group
        self.check(python_sent, ask(whose.number, level))

    def restart(self) -> None:
        self.check(self.python.restart(RestartCause.WATCHDOG, self.now_ms), self.c_board.start("watchdog"))

    def lose(self) -> None:
        self.python.mark_lost_bytes()
        self.check(b"", self.c_board.lose_bytes())

    def press(self) -> None:
        self.c_board.set_button(True)
        self.now_ms += DEBOUNCE_MS
        self.check(self.python.press_button(self.now_ms), self.c_board.advance(DEBOUNCE_MS))
        self.c_board.set_button(False)
        self.wait(2 * DEBOUNCE_MS)


EVENTS = st.one_of(
    LINES.map(lambda data: ("send", data)),
    LINES.map(lambda data: ("send", data)),
    BYTES.map(lambda data: ("send", data)),
    st.sampled_from([1, 100, 499, 500, 3000, 5000, 6001]).map(lambda ms: ("wait", ms)),
    st.just(("lose", None)),
    st.just(("press", None)),
)
FEATURE_EVENTS = st.one_of(
    EVENTS,
    EVENTS,
    WHOLE_TABLES.map(lambda data: ("send", data)),
    FEATURE_ORDERS.map(lambda text: ("send", sealed(text, 3, b"\n"))),
    WATCH.map(lambda data: ("send", data)),
    st.tuples(st.integers(1, 8), st.booleans()).map(lambda pair: ("input", pair)),
    st.tuples(
        st.sampled_from([TableLamp(1), TableLamp(2), TableLamp(9), TableGroup(0), TableGroup(3)]),
        st.sampled_from([0, 3, 128, 255]),
    ).map(lambda pair: ("game", pair)),
    st.sampled_from([1, 7, 20, 33, 170, 999, 1000]).map(lambda ms: ("wait", ms)),
    st.just(("restart", None)),
)


def play(both: Both, events: list[tuple[str, Any]]) -> None:
    """Give both boards the same events."""
    for kind, what in events:
        if kind == "input":
            both.input(*what)
        elif kind == "game":
            both.game(*what)
        elif kind == "restart":
            both.restart()
        elif isinstance(what, bytes):
            both.send(what)
        elif isinstance(what, int):
            both.wait(what)
        elif kind == "lose":
            both.lose()
        else:
            both.press()


@pytest.mark.slow
@QUICK
@given(st.lists(EVENTS, max_size=25))
def test_agrees_with_the_python_board(board: HostBoard, events: list[tuple[str, bytes | int | None]]) -> None:
    play(Both(board, BoardConfig(board="probe-328")), events)


@pytest.fixture(scope="module")
def small_board() -> Iterator[HostBoard]:
    """A board whose frames are short, so that long waits with patterns cost little."""
    with HostBoard(build.build_host({**build.ONE_OUTPUT, "PP_PIXELS": 20})) as board:
        yield board


@settings(QUICK, max_examples=examples(400))
@given(st.lists(FEATURE_EVENTS, max_size=30))
def test_features_agree_with_the_python_board(small_board: HostBoard, events: list[tuple[str, Any]]) -> None:
    play(Both(small_board, BoardConfig(board="probe-328", pixels=20)), events)


@settings(QUICK, max_examples=examples(200))
@given(WHOLE_TABLES, st.lists(FEATURE_EVENTS, max_size=30))
def test_the_game_agrees_with_the_python_board(
    small_board: HostBoard, table: bytes, events: list[tuple[str, Any]]
) -> None:
    both = Both(small_board, BoardConfig(board="probe-328", pixels=20))
    play(both, [("send", table), ("send", sealed("play game", 9, b"\n")), ("wait", 50), *events])


OTHER_BUILDS = {
    "two-outputs": BoardConfig(
        board="probe-328", outputs=2, pixels=12, line=64, ceiling_ma=60, channel_ua=18_500, idle_ua=700
    ),
    "smallest": BoardConfig(board="probe-328", pixels=8, line=64, ceiling_ma=100, features=()),
    "some-features": BoardConfig(board="probe-328", pixels=14, line=255, features=("setup", "paint")),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", first_now(OTHER_BUILDS))
def test_other_builds_agree_with_the_python_board(name: str) -> None:
    config = OTHER_BUILDS[name]
    program = build.build_host(
        build.config_for(
            {
                "outputs": str(config.outputs),
                "pixels": str(config.pixels),
                "line": str(config.line),
                "ceiling": str(config.ceiling_ma),
                "channel": str(config.channel_ua),
                "idle": str(config.idle_ua),
                "features": ",".join(config.features) or "none",
            }
        )
    )
    with HostBoard(program) as c_board:

        @settings(max_examples=examples(100), deadline=None)
        @given(st.lists(EVENTS, max_size=20))
        def agree(events: list[tuple[str, bytes | int | None]]) -> None:
            play(Both(c_board, config), events)

        agree()
