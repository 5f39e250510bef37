"""A whole walk over wires with every kind of fault: the map comes out equal, the wrong pixel is never shown as lit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.link import BoardLink, LinkEvent
from probe.link.faulty import FaultProfile
from probe.link.simulated_wire import SimulatedPort
from tests.support.examples import first_now
from tests.support.person import same_answers
from tests.support.walker import Report, walk_it

PROFILES = {
    "none": FaultProfile(),
    "one byte at a time": FaultProfile(one_byte_at_a_time=True),
    "lost bytes": FaultProfile(lost_byte_rate=0.002),
    "flipped bits": FaultProfile(flipped_bit_rate=1e-3),
    "duplicated lines": FaultProfile(duplicated_line_rate=0.2),
    "silences of two seconds": FaultProfile(silence_every_lines=60, silence_s=2.0),
    "bytes held back": FaultProfile(silence_every_lines=60, silence_s=2.0, silence_holds_back=True),
    "unplugged in mid-order": FaultProfile(unplug_every_lines=40, replug_after_s=0.3),
    "all together": FaultProfile(
        one_byte_at_a_time=True,
        lost_byte_rate=0.0005,
        flipped_bit_rate=1e-4,
        duplicated_line_rate=0.05,
        unplug_every_lines=90,
        replug_after_s=0.3,
    ),
}


async def faulty_walk(truth: PlayfieldMap, path: Path, profile: FaultProfile, seed: int) -> Report:
    wirings = [ChainWiring.of_places(f"{c.id}:{n}" for n in range(c.length)) for c in truth.chains]
    board = SimulatedBoard(BoardConfig(outputs=len(wirings), pixels=1_000), wirings)
    port = SimulatedPort(board, faults=profile, seed=seed)

    def lit_numbers() -> set[tuple[str, int]]:
        lit = (place.rsplit(":", 1) for place, _ in board.lit())
        return {(chain, int(number)) for chain, number in lit}

    def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
        return BoardLink(port.open, on_event=on_event)

    return await walk_it(truth, path, make, lit_numbers, patience_s=60)


@pytest.mark.slow
@pytest.mark.parametrize("name", first_now(PROFILES))
async def test_the_map_comes_out_equal(name: str, tmp_path: Path) -> None:
    truth = load_map(demo_map_path())
    report = await faulty_walk(truth, tmp_path / "map.json", PROFILES[name], seed=7)
    assert report.wrong_claims == []
    assert len(report.claims) >= sum(chain.length for chain in truth.chains)
    assert same_answers(load_map(tmp_path / "map.json"), truth) == []
