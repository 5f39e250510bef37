"""kill -9 of the whole program, over a serial port and over TCP: light waits for the disk, and the board goes dark alone."""

from __future__ import annotations

import random
import re
import time
from pathlib import Path

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from probe.document.file import MapFile, load_map
from tests.cli.test_endings import Launch, program
from tests.support.blank import blank_map_file
from tests.support.served_board import PtyBoard, ServedBoard, TcpBoard

PIXELS = 120
ROUNDS = 5
SILENCE_GRACE_S = 1.5


class Witness:
    """Looks into the map's file whenever the board is about to light a pixel."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lit = -1
        self.early: list[str] = []

    def order_came(self, order: bytes) -> None:
        found = re.search(rb" light 0 (\d+) ", order)
        if not found or int(found[1]) <= self.lit:
            return
        self.lit = int(found[1])
        named = sum(pixel.place is not None for pixel in load_map(self.path).chains[0].pixels)
        if named < self.lit:
            self.early.append(f"pixel {self.lit} is lit with {named} answers on disk")


def served(way: type[ServedBoard], witness: Witness) -> ServedBoard:
    wiring = ChainWiring.of_places([f"spot {number}" for number in range(PIXELS)])
    board = way(SimulatedBoard(BoardConfig(pixels=PIXELS), [wiring]))
    board.order_came = witness.order_came
    return board


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize("way", [PtyBoard, TcpBoard])
def test_what_was_lit_after_an_answer_had_it_on_disk_and_the_board_darkens_alone(
    way: type[ServedBoard], tmp_path: Path
) -> None:
    moment = random.Random(11)
    path = blank_map_file(tmp_path / "kelp.json", pixels=PIXELS)
    witness = Witness(path)
    answers = 0
    with served(way, witness) as board:
        for turn in range(ROUNDS):
            folder = tmp_path / f"round {turn}"
            folder.mkdir()
            with program(folder, Launch(("walk", str(path), "--port", board.path))) as started:
                started.until("LIT")
                before, end = witness.lit, time.monotonic() + moment.uniform(0.2, 2.5)
                while time.monotonic() < end or witness.lit < before + 2:  # a busy machine takes longer
                    started.send(f"Anemone {answers}\r")
                    answers += 1
                    started.read(moment.uniform(0, 0.15))
                started.process.kill()
                started.process.wait()
            load_map(path)
        time.sleep(board.board.silence_ms / 1000 + SILENCE_GRACE_S)
        assert isinstance(board.board, SimulatedBoard)
        assert board.board.lit() == ()
    assert witness.early == []
    assert witness.lit > ROUNDS, "it did work between the kills"
    with MapFile.open(path) as file:
        labels = [place.label for place in file.map.places]
    assert len(labels) == len(set(labels)) >= witness.lit
    assert all(re.fullmatch(r"Anemone \d+", label) for label in labels), "no two names ran together"
