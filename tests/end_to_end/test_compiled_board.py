"""The app's own link and conductor walk a chain on the compiled AVR firmware, opened as a serial port."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.link import BoardLink, LinkEvent, PortSpec
from tests.firmware.simulated_avr import SimulatedAvr
from tests.support.examples import first_now
from tests.support.person import same_answers
from tests.support.walker import walk_it


def playfield_only() -> PlayfieldMap:
    map_ = load_map(demo_map_path())
    places = {p.place for p in map_.chains[0].pixels}
    return map_.model_copy(
        update={"chains": map_.chains[:1], "bookmark": None, "places": tuple(p for p in map_.places if p.id in places)}
    )


def lit_in(frame: bytes) -> set[tuple[str, int]]:
    """Numbers of the pixels that a frame lights: three bytes a pixel, the first in the chain first."""
    return {("playfield", at // 3) for at in range(0, len(frame) - 2, 3) if any(frame[at : at + 3])}


async def test_walk_the_playfield_on_the_compiled_firmware(avr_elf: Path, tmp_path: Path) -> None:
    truth = playfield_only()
    with SimulatedAvr(avr_elf) as chip:

        def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
            return BoardLink(PortSpec(address=chip.pty), on_event=on_event)

        report = await walk_it(truth, tmp_path / "map.json", make, lambda: lit_in(chip.frame(0).data))
        assert report.wrong_claims == [], "what the waveform on the data pin says is what the screen said"
        assert len(report.claims) >= truth.chains[0].length
        assert same_answers(load_map(tmp_path / "map.json"), truth) == []
        timing = chip.timing(0)
        assert timing.t0h is not None
        assert timing.t1h is not None
        assert timing.gap is not None
        # WS2812B-V5 sheet 220..380 / 580..1000 ns and the first WS2812B sheet 250..550 / 650..950 ns, together
        assert timing.t0h[0] >= 250
        assert timing.t0h[1] <= 380
        assert timing.t1h[0] >= 650
        assert timing.t1h[1] <= 950
        assert timing.gap[1] < 5_000
        assert lit_in(chip.frame(0).data) == set(), "the board is dark when the program has gone"


@pytest.mark.slow
@pytest.mark.parametrize("cause", first_now(["external", "brownout", "watchdog"]))
async def test_a_restart_in_the_middle_of_a_walk(avr_elf: Path, tmp_path: Path, cause: str) -> None:
    truth = playfield_only()
    restarted: list[float] = []
    with SimulatedAvr(avr_elf) as chip:

        def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
            return BoardLink(PortSpec(address=chip.pty), on_event=on_event)

        def before_answer(at: int) -> None:
            if at in (10, 40):
                chip.restart(cause)
                restarted.append(time.monotonic())

        report = await walk_it(
            truth, tmp_path / "map.json", make, lambda: lit_in(chip.frame(0).data), before_answer=before_answer
        )
    assert len(restarted) >= 2
    assert same_answers(load_map(tmp_path / "map.json"), truth) == []
    assert len(report.claims) >= truth.chains[0].length
