"""The lamp table outlasts a power cut at any moment: the old one or the new one is there, whole, and nothing else."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pytest

from tests.firmware import build
from tests.firmware.host_board import HostBoard
from tests.firmware.lamp_tables import OTHER, SMALL, order_texts, state_text
from tests.firmware.orders import order, read_answer
from tests.firmware.simulated_avr import SimulatedAvr

OLD, NEW, NONE = state_text(SMALL, 7), state_text(OTHER, 8), ("0", "0", "FFFF")
TORN = (0x00, 0x5A, 0xA5, 0xFF)
"""Bits that the write which the cut catches leaves set: none, all, and two patterns, the mark's own among them."""


def ask(board: HostBoard, text: str) -> tuple[str, ...]:
    """Fields of the answer, empty when the board is dead."""
    said = board.send(order(1, text))
    return read_answer(said.split(b"\n")[0]).fields if said else ()


def put(board: HostBoard, texts: Sequence[str]) -> bool:
    """Send the orders; False when the board died on the way."""
    return all(ask(board, text)[:1] == ("ok",) for text in texts)


@pytest.fixture(scope="module")
def board() -> Iterator[HostBoard]:
    with HostBoard(build.build_host({**build.ONE_OUTPUT, "PP_PIXELS": 20})) as board:
        board.start()
        yield board


def begin(board: HostBoard, *tables: list[str]) -> None:
    """A board as delivered, then given these tables one after the other."""
    board.blank()
    board.start()
    for texts in tables:
        assert put(board, texts)


@pytest.mark.parametrize("torn", TORN)
@pytest.mark.parametrize("tables_before", [0, 1, 2, 3])
def test_cut_at_every_write_of_a_new_table(board: HostBoard, torn: int, tables_before: int) -> None:
    """Every byte written, whichever half is in force, whatever the byte becomes."""
    old, new = order_texts(SMALL, 7), order_texts(OTHER, 8)
    earlier = [order_texts(OTHER, revision) for revision in range(1, tables_before)] + [old] * (tables_before > 0)
    before = OLD if tables_before else NONE
    begin(board, *earlier)
    start = board.writes()
    assert put(board, new)
    total = board.writes() - start
    assert total > (20 if tables_before < 2 else 5), "what is there already is not written again"
    seen = set()
    for cut in range(1, total + 1):
        begin(board, *earlier)
        board.cut_power(writes=cut, torn=torn)
        assert not put(board, new)
        board.start()
        after = ask(board, "table")[1:4]
        seen.add(after)
        assert after in (before, NEW), f"cut at write {cut} of {total}"
        if cut < total - 1:
            assert after == before, f"write {cut} of {total} already shows"
        # and the board can be given a table all the same
        assert put(board, new)
        assert ask(board, "table")[1:4] == NEW
    assert before in seen


@pytest.mark.parametrize("torn", TORN)
def test_cut_at_every_write_of_an_erase(board: HostBoard, torn: int) -> None:
    for cut in (1, 2):
        begin(board, order_texts(OTHER, 6), order_texts(SMALL, 7))
        board.cut_power(writes=cut, torn=torn)
        assert ask(board, "erase") == ()
        board.start()
        assert ask(board, "table")[1:4] in (OLD, NONE), "an older table does not come back"
        assert put(board, ["erase"])
        board.start()
        assert ask(board, "table")[1:4] == NONE


def test_asking_again_writes_nothing(board: HostBoard) -> None:
    texts = order_texts(SMALL, 7)
    begin(board, texts)
    before = board.writes()
    assert put(board, [texts[-1]] * 3)
    assert board.writes() == before


@pytest.mark.slow
def test_one_flipped_bit_anywhere_is_noticed(chip: SimulatedAvr) -> None:
    """Wear shows as changed bits: a copy that is not what was committed does not count as a table."""
    put_avr(chip, order_texts(SMALL, 7))
    memory = chip.eeprom()
    half = 512 if memory[512] == 0x5A else 0
    used = 12 + int(OLD[1])
    for at in range(half, half + used, 3):
        chip.store_eeprom(at, bytes([memory[at] ^ 1 << at % 8]))
        chip.restart("power")
        assert chip.receive_line(200) is not None
        assert ask_avr(chip, "table")[1:4] == NONE, f"byte {at - half}"
        chip.store_eeprom(at, memory[at : at + 1])


def ask_avr(chip: SimulatedAvr, text: str) -> tuple[str, ...]:
    """Fields of the answer of a chip."""
    chip.feed(order(1, text))
    while True:
        line = chip.receive_line(600)
        assert line is not None, text
        answer = read_answer(line)
        if answer.kind != "~":
            return answer.fields


def put_avr(chip: SimulatedAvr, texts: Sequence[str]) -> None:
    """Send the orders, each of which is carried out."""
    for text in texts:
        assert ask_avr(chip, text)[0] == "ok", text


@pytest.mark.slow
def test_the_chip_loses_power_at_many_moments(chip: SimulatedAvr) -> None:
    """Between and in the middle of the EEPROM's writes, each of which takes 3.4 ms (ATmega328P data sheet, table 8-1)."""
    put_avr(chip, order_texts(SMALL, 7))
    memory = chip.eeprom()
    new = order_texts(OTHER, 8)
    begin_cycle = chip.cycle()
    put_avr(chip, new)
    total_ms = (chip.cycle() - begin_cycle) / 16_000
    seen = set()
    cuts = [total_ms * share / 60 for share in range(61)] + [
        total_ms - share for share in (0.5, 1, 2, 3, 4, 5, 6, 7, 8)
    ]
    for seed, cut_ms in enumerate(cuts):
        chip.store_eeprom(0, memory)
        chip.restart("power")
        assert chip.receive_line(200) is not None
        deadline = chip.cycle() + int(cut_ms * 16_000)
        for text in new:
            if chip.cycle() >= deadline:
                break
            chip.feed(order(1, text))
            chip.command(f"run_sent 1 {max(0.0, (deadline - chip.cycle()) / 16_000)}")
            chip.sent()
        chip.power_cut(seed=seed)
        chip.sent()
        chip.run(80)
        chip.sent()
        after = ask_avr(chip, "table")[1:4]
        seen.add(after)
        assert after in (OLD, NEW), f"cut after {cut_ms:.1f} of {total_ms:.1f} ms"
    assert seen == {OLD, NEW}
    assert chip.status()["eeprom_writes"] > 500
