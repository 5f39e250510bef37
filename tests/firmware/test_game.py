"""One firmware runs the game's lamps and answers the tool: table in, inputs toggled on pins, pixels out of the data pin."""

from __future__ import annotations

from pathlib import Path

import pytest

from device_protocol.lamp_table import (
    BoardLampTable,
    TableEntry,
    TableGroup,
    TableLamp,
    TableOutput,
    encode_table,
)
from device_protocol.values import Colour
from tests.firmware import build
from tests.firmware.adapters import INPUT_PINS
from tests.firmware.host_board import HostBoard
from tests.firmware.lamp_tables import (
    SHIFT_REGISTERS,
    SIXTY_LAMPS,
    SMALL,
    demo_table,
    levels_of,
    lit_pixels,
    order_texts,
)
from tests.firmware.orders import order, read_answer
from tests.firmware.simulated_avr import SimulatedAvr
from tests.firmware.test_table_power_cut import ask_avr, put_avr

MATRIX = {
    "PP_OUTPUTS": 1,
    "PP_AVR_MATRIX": 1,
    "PP_INPUTS": 64,
    "PP_FEATURE_BUTTON": 0,
    "PP_PIXELS": 84,
}
ROWS = ("C0", "C1", "C2", "C3", "C4", "C5", "D6", "D7")
COLUMNS = ("B1", "B2", "B3", "B4", "B5", "D2", "D3", "D5")


def wire(entry: TableEntry, byte_order: str, level: int = 255) -> bytes:
    """What SPEC 13.7 makes of one entry that is alone on its pixel, below the ceiling."""
    values = entry.colour.wire(byte_order)
    return bytes(((value * entry.level + 127) // 255 * level + 127) // 255 for value in values)


def expected(table: BoardLampTable, output: int, *whose: TableLamp | TableGroup) -> dict[int, bytes]:
    """Pixels of an output that are lit when these are on; no pixel has two entries."""
    chain = table.chain(output)
    assert chain is not None
    return {
        entry.pixel: wire(entry, chain.byte_order)
        for each in whose
        for entry in table.of(each)
        if entry.output == output
    }


def test_every_lamp_by_its_input(chip: SimulatedAvr) -> None:
    """Written through the protocol, toggled on the chip's pins, decoded from the edges of its data pin."""
    put_avr(chip, [*order_texts(SMALL, 7), "play game"])
    always = tuple(TableGroup(number) for number in SMALL.groups())
    chip.run(60)
    assert lit_pixels(chip.frame(0).data) == expected(SMALL, 0, *always)
    for number, pin in enumerate(INPUT_PINS, start=1):
        chip.set_pin(pin, 0)
        chip.run(60)
        assert lit_pixels(chip.frame(0).data) == expected(SMALL, 0, TableLamp(number), *always), f"lamp {number}"
        assert len(chip.frame(0).data) == 36
        chip.set_pin(pin, 1)
        chip.run(80)
        assert lit_pixels(chip.frame(0).data) == expected(SMALL, 0, *always)
    times = chip.timing(0)
    assert times.gap is not None
    assert times.gap[1] < 5000


def test_the_game_goes_on_after_a_restart(chip: SimulatedAvr) -> None:
    put_avr(chip, order_texts(SMALL, 7))
    chip.set_pin("C1", 0)
    chip.restart("watchdog")
    assert chip.receive_line(200) is not None
    chip.run(60)
    assert lit_pixels(chip.frame(0).data) == expected(SMALL, 0, TableLamp(2), TableGroup(0))
    assert "table=7" in ask_avr(chip, "id")
    assert ask_avr(chip, "play")[1] == "game"


@pytest.mark.slow
def test_a_host_walks_while_the_game_plays_and_the_game_comes_back(chip: SimulatedAvr) -> None:
    put_avr(chip, [*order_texts(SMALL, 7), "play game"])
    chip.set_pin("C0", 0)
    chip.run(60)
    for pixel in range(12):
        assert ask_avr(chip, f"light 0 {pixel} 201000") == ("ok",)
        chip.run(40)
        assert lit_pixels(chip.frame(0).data) == {pixel: b"\x10\x20\x00"}, "the game lights nothing meanwhile"
    chip.run(4900)
    chip.sent()
    line = chip.receive_line(500)
    assert line is not None
    assert read_answer(line).fields == ("dark", "silence")
    assert lit_pixels(chip.frame(0).data) == {}
    line = chip.receive_line(1200)
    assert line is not None
    assert read_answer(line).fields == ("play", "game")
    chip.run(60)
    assert lit_pixels(chip.frame(0).data) == expected(SMALL, 0, TableLamp(1), TableGroup(0))


def test_a_pulsed_lamp_shines_steadily_and_its_pulses_are_counted(chip: SimulatedAvr) -> None:
    """A rectified supply drops a latched lamp out at every zero, 100 times a second in Europe, 120 in America."""
    put_avr(chip, [*order_texts(SMALL, 7), "play game"])
    chip.run(60)
    frames = chip.frame(0).frames
    for _ in range(50):  # half a second at 100 Hz, on for 6 ms of 10
        chip.set_pin("C0", 0)
        chip.run(6)
        chip.set_pin("C0", 1)
        chip.run(4)
    assert chip.frame(0).frames == frames + 1, "it goes on once"
    assert ask_avr(chip, "inputs 1") == ("ok", "8", "01")
    assert ask_avr(chip, "edges 1")[1] == "50"
    chip.run(60)
    assert ask_avr(chip, "inputs 1") == ("ok", "8", "00")


def strobe(
    chip: SimulatedAvr, on: set[int], *, scans: int, rows_let_go_ms: float = 0, columns_let_go_ms: float = 0
) -> None:
    """A game strobes its 64 lamps, 2 ms a column; lamp (column - 1) x 8 + row pulls its row low with its column.

    A slow optocoupler keeps showing a row, or a column, for so long after the game has let go of it.
    """
    for _ in range(scans):
        for column, column_pin in enumerate(COLUMNS):
            chip.set_pin(column_pin, 0)
            chip.run(columns_let_go_ms)
            chip.set_pin(COLUMNS[column - 1], 1)
            chip.run(max(0.0, rows_let_go_ms - columns_let_go_ms))
            for row, row_pin in enumerate(ROWS):
                chip.set_pin(row_pin, int(column * 8 + row + 1 not in on))
            chip.run(2 - max(rows_let_go_ms, columns_let_go_ms))
    chip.set_pin(COLUMNS[-1], 1)


MATRIX_TABLE = BoardLampTable(
    outputs=(TableOutput(0, 84, "GRB", 2000),),
    entries=tuple(TableEntry(TableLamp(number), 0, number + 5, Colour(0, 7, 0)) for number in range(1, 65)),
)


@pytest.mark.slow
def test_a_strobed_matrix() -> None:
    with SimulatedAvr(build.build_avr(MATRIX), paused=True) as chip:
        assert chip.receive_line(100) is not None
        put_avr(chip, [*order_texts(MATRIX_TABLE, 3), "linger 40", "play game"])
        for on in ({1}, {8}, {9}, {64}, {1, 10, 19, 28, 37, 46, 55, 64}, set(range(1, 65)), {57, 2}, set()):
            strobe(chip, on, scans=10)
            chip.run(10)
            assert set(lit_pixels(chip.frame(0).data)) == {number + 5 for number in on}
        assert chip.status()["stack_free"] >= 128


@pytest.mark.slow
@pytest.mark.parametrize("columns_ms", [0, 0.25])
def test_no_ghost_in_a_matrix_behind_slow_optocouplers(columns_ms: float) -> None:
    """An optocoupler lets go 100 to 250 us late with 10 k (from memory: reference sheets end at 4.7 k): a lamp of the column
    before shows at the beginning of this one. Every lamp that is on counts, no other ever does."""
    with SimulatedAvr(build.build_avr(MATRIX), paused=True) as chip:
        assert chip.receive_line(100) is not None
        put_avr(chip, [*order_texts(MATRIX_TABLE, 3), "linger 40", "play game"])
        on = {3, 20, 37, 64}
        strobe(chip, on, scans=6, rows_let_go_ms=0.25, columns_let_go_ms=columns_ms)
        for _ in range(20):
            strobe(chip, on, scans=4, rows_let_go_ms=0.25, columns_let_go_ms=columns_ms)
            assert set(lit_pixels(chip.frame(0).data)) == {number + 5 for number in on}
        for first, counted in zip(range(1, 65, 8), [ask_avr(chip, f"edges {k}") for k in range(1, 65, 8)], strict=True):
            seen = {first + place for place, edges in enumerate(counted[1:]) if edges != "0"}
            assert seen == {number for number in on if first <= number < first + 8}


@pytest.mark.slow
def test_sixty_latched_lamps_through_shift_registers() -> None:
    """More lamps than the chip has pins: eight 74HC165 in a row on three of them, four of their inputs unused."""
    with SimulatedAvr(build.build_avr(SHIFT_REGISTERS), paused=True) as chip:
        assert chip.receive_line(100) is not None
        put_avr(chip, [*order_texts(SIXTY_LAMPS, 3), "play game"])
        chip.run(60)
        assert lit_pixels(chip.frame(0).data) == {}, "no register fitted: nothing is on"

        def show(on: set[int]) -> None:
            chip.set_shift_registers(levels_of(on))

        for on in ({1}, {8}, {9}, {60}, {1, 10, 19, 28, 37, 46, 55}, set(range(1, 65)), {57, 2}, set()):
            show(on)
            chip.run(80)
            assert set(lit_pixels(chip.frame(0).data)) == {number + 5 for number in on if number <= 60}
        assert ask_avr(chip, "inputs 1") == ("ok", "60", "00" * 8)
        # rectified and unsmoothed: each lamp drops out for 4 of every 10 ms, seen on time after time
        before = ask_avr(chip, "edges 41")
        for _ in range(40):
            show({42, 60})
            chip.run(6)
            show(set())
            chip.run(4)
        after = ask_avr(chip, "edges 41")
        assert [int(b) - int(a) for a, b in zip(before[1:], after[1:], strict=True)] == [0, 40, 0, 0, 0, 0, 0, 0]
        assert ask_avr(chip, "inputs 1")[2] == "0000000000020008"
        assert chip.status()["stack_free"] >= 128


@pytest.mark.slow
def test_a_rise_and_fall_like_a_bulb_s() -> None:
    table = BoardLampTable(
        outputs=(TableOutput(0, 4, "GRB", 2000),),
        entries=(TableEntry(TableLamp(1), 0, 1, Colour(255, 0, 0)),),
        rise_ms=80,
        fall_ms=200,
    )
    with HostBoard(build.build_host({**build.ONE_OUTPUT, "PP_PIXELS": 20})) as board:
        board.start()
        for text in [*order_texts(table, 1), "play game"]:
            assert b" ok" in board.send(order(1, text))
        board.advance(100)

        def course(level: int) -> list[int]:
            board.set_lamp(1, level)
            levels = []
            for _ in range(120):
                board.advance(20)
                levels.append(lit_pixels(board.frame(0)[2]).get(1, bytes(3))[1])
            return levels

        rise, fall = course(255), course(0)
    assert rise == sorted(rise)
    assert fall == sorted(fall, reverse=True)
    assert (rise[-1], fall[-1]) == (255, 0), "it arrives"
    # after one time constant 1 - 1/e of the way, in steps of 20 ms: within a few of 255
    assert rise[3] == pytest.approx(255 * 0.63, abs=30)
    assert 255 - fall[9] == pytest.approx(255 * 0.63, abs=20)


@pytest.mark.slow
def test_the_game_s_own_interface() -> None:
    table = BoardLampTable(
        outputs=(TableOutput(0, 12, "GRB", 2000),),
        entries=(
            TableEntry(TableLamp(4), 0, 1, Colour(200, 0, 0)),
            TableEntry(TableLamp(4), 0, 2, Colour(200, 0, 0)),
            TableEntry(TableLamp(5), 0, 3, Colour(0, 90, 0)),
            TableEntry(TableLamp(6), 0, 4, Colour(0, 90, 0)),
        ),
    )
    with HostBoard(build.build_host({**build.ONE_OUTPUT, "PP_PIXELS": 20, "PP_PLAY_TINT": 1})) as board:
        board.start()
        assert board.lamp_pixel(4, 0) is None
        for text in [*order_texts(table, 1), "play game"]:
            assert b" ok" in board.send(order(1, text))
        assert [board.lamp_pixel(4, nth) for nth in range(3)] == [(0, 1), (0, 2), None]
        assert board.lamp_pixel(5, 0) == (0, 3)
        assert board.lamp_pixel(7, 0) is None
        board.set_lamp(4, 128)
        board.set_lamp(65_000, 128)  # more than the board keeps: does nothing
        board.advance(40)
        assert lit_pixels(board.frame(0)[2]) == {1: b"\0\x64\0", 2: b"\0\x64\0"}
        board.set_tint(5, 0)  # the colour record used most: the first, of two that are used twice
        board.set_lamp(4, 0)
        board.set_lamp(5, 255)
        board.advance(40)
        lit = lit_pixels(board.frame(0)[2])
        assert set(lit) == {3}
        board.set_tint(5, -1)
        board.advance(40)
        assert lit_pixels(board.frame(0)[2]) == {3: b"\x5a\0\0"}


KELP: dict[str, object] = {}
"""The default build serves the demonstration machine's two outputs."""


def test_the_demonstration_machine_fits_twice_with_room(tmp_path: Path) -> None:
    image = encode_table(demo_table())
    assert len(demo_table().entries) > 100
    assert len(image) <= 450, "of 500 bytes that each half of 1,024 leaves"


@pytest.mark.slow
def test_every_lamp_and_group_of_the_demonstration_machine() -> None:
    """The whole table on the compiled firmware: each lamp lights exactly its pixels, on both outputs."""
    table = demo_table()
    with SimulatedAvr(build.build_avr(KELP), paused=True, outputs=2) as chip:
        assert chip.receive_line(100) is not None
        put_avr(chip, order_texts(table, 12))
        everyone: list[TableLamp | TableGroup] = [
            *(TableLamp(number) for number in table.lamps()),
            *(TableGroup(number) for number in table.groups()),
        ]
        assert len(everyone) > 70
        for whose in everyone:
            word = "lamp" if isinstance(whose, TableLamp) else "group"
            assert ask_avr(chip, f"{word} {whose.number} 255") == ("ok", str(len(table.of(whose))))
            for output in (0, 1):
                frame = chip.frame(output)
                assert frame.spare_bits == 0
                assert lit_pixels(frame.data) == expected(table, output, whose), whose
        put_avr(chip, ["play game"])
        chip.run(80)
        always = [TableGroup(number) for number in table.groups()]
        for output in (0, 1):
            assert set(lit_pixels(chip.frame(output).data)) == set(expected(table, output, *always))
        # the firmware's eight pins are lamps 1 to 8
        for number, pin in enumerate(INPUT_PINS, start=1):
            chip.set_pin(pin, 0)
            chip.run(60)
            for output in (0, 1):
                wanted = set(expected(table, output, TableLamp(number), *always))
                assert set(lit_pixels(chip.frame(output).data)) == wanted
            chip.set_pin(pin, 1)
            chip.run(80)
        assert chip.status()["stack_free"] >= 128


@pytest.mark.slow
def test_the_demonstration_machine_in_a_strobed_matrix() -> None:
    """Playfield and backbox on one output each do not leave 16 pins: here one chain carries both."""
    table = demo_table()
    joined = BoardLampTable(
        outputs=(TableOutput(0, 108, "GRB", 5000),),
        entries=tuple(
            TableEntry(entry.whose, 0, entry.pixel + 84 * entry.output, entry.colour, entry.level)
            for entry in table.entries
            if isinstance(entry.whose, TableLamp)
        ),
    )
    config = MATRIX | {"PP_PIXELS": 108, "PP_CEILING_MA": 5000}
    with SimulatedAvr(build.build_avr(config), paused=True) as chip:
        assert chip.receive_line(100) is not None
        put_avr(chip, [*order_texts(joined, 3), "linger 40", "play game"])
        for number in joined.lamps():
            strobe(chip, {number}, scans=8)
            assert lit_pixels(chip.frame(0).data) == expected(joined, 0, TableLamp(number)), f"lamp {number}"


def test_the_highest_lamp_is_no_group_and_levels_are_rounded() -> None:
    """Lamp 16 of 16 beside group 0, which is always on; 100 at level 130 of 255 is 50.98: 51."""
    table = BoardLampTable(
        outputs=(TableOutput(0, 4, "GRB", 2000),),
        entries=(
            TableEntry(TableLamp(16), 0, 1, Colour(100, 0, 0), 130),
            TableEntry(TableGroup(0), 0, 2, Colour(0, 40, 0)),
        ),
    )
    with HostBoard(build.build_host({**build.ONE_OUTPUT, "PP_PIXELS": 20, "PP_LAMPS": 16})) as board:
        board.start()
        for text in [*order_texts(table, 1), "play game"]:
            assert b" ok" in board.send(order(1, text))
        board.advance(100)
        assert set(lit_pixels(board.frame(0)[2])) == {2}
        board.set_lamp(16, 255)
        board.advance(100)
        assert lit_pixels(board.frame(0)[2]) == {1: bytes((0, 51, 0)), 2: bytes((40, 0, 0))}
