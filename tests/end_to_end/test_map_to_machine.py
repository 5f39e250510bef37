"""From the map to the machine: the command writes the table into the compiled board, the game's lamps are toggled on the
chip's pins, and the waveform on its data pin lights exactly the pixels that the map says, for every lamp."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.document.document import Document
from probe.document.file import MapFile, demo_map_path, load_map
from probe.document.lamp_table import TablePixel, lamp_table
from probe.document.local_time import local_minute
from probe.document.model import PlayfieldMap
from probe.document.model.game import Group, Verdict
from probe.document.operations import update_place
from probe.document.proving import tally
from probe.game.keys import SayVerdict
from probe.game.prove import GoToLamp, Prove, make
from probe.link import BoardLink, PortSpec
from probe.runtime.runtime import Runtime
from tests.firmware import build
from tests.firmware.lamp_tables import lit_pixels
from tests.firmware.simulated_avr import SimulatedAvr
from tests.firmware.test_game import KELP, MATRIX, strobe
from tests.firmware.test_table_power_cut import put_avr

NOW = "2025-04-05T20:15:00Z"


def lit_up() -> PlayfieldMap:
    """Kelp Forest with levels and colours of its own, and ceilings under which all of it may be lit at once."""
    map_ = load_map(demo_map_path("kelp_forest.json"))
    for at, place in enumerate(map_.places):
        if at % 3 == 0:
            map_ = update_place(
                map_, place.model_copy(update={"level": 120 + at, "colour": ("FFB464", "20FF40")[at % 2]})
            )
    group = Group(name="always on, Reef", level=150, colour="8060FF")
    chains = tuple(chain.model_copy(update={"ceiling_ma": 5_000}) for chain in map_.chains)
    return map_.model_copy(update={"groups": (group,), "chains": chains})


def on_one_chain(map_: PlayfieldMap) -> PlayfieldMap:
    """The same machine wired as one chain: a strobed matrix of 16 pins leaves this chip no second output."""
    playfield, backbox = map_.chains
    pixels = (*playfield.pixels, *backbox.pixels)
    joined = playfield.model_copy(update={"pixels": pixels, "count": len(pixels)})
    return map_.model_copy(update={"chains": (joined,)})


def wire_bytes(pixels: tuple[TablePixel, ...], output: int, order: str) -> dict[int, bytes]:
    """What the pixels of an output are sent; dark ones left out."""
    sent = {pixel.number: pixel.duty.wire(order) for pixel in pixels if pixel.output == output}
    return {number: data for number, data in sent.items() if any(data)}


def saved(map_: PlayfieldMap, path: Path) -> Path:
    with MapFile.create(path, map_):
        return path


@pytest.mark.slow
def test_every_lamp_of_the_machine_from_the_map_to_the_waveform(tmp_path: Path) -> None:
    map_ = on_one_chain(lit_up())
    path = saved(map_, tmp_path / "kelp.json")
    rows = lamp_table(map_)
    always = tuple(pixel for group in rows.groups for pixel in group.always_on)
    config = MATRIX | {"PP_PIXELS": 108, "PP_CEILING_MA": 5_000}
    with SimulatedAvr(build.build_avr(config)) as chip:
        assert main(["table", str(path), "--port", chip.pty, "--compare"]) == 1
        assert main(["table", str(path), "--port", chip.pty, "--write"]) == 0
        assert main(["table", str(path), "--port", chip.pty, "--compare"]) == 0
        chip.restart("power")
        assert main(["table", str(path), "--port", chip.pty]) == 0, "the table outlives the power"
        chip.pause()
        put_avr(chip, ["linger 40", "play game"])
        strobe(chip, set(), scans=8)
        assert lit_pixels(chip.frame(0).data) == wire_bytes(always, 0, "GRB")
        checked = 0
        for row in rows.lamps:
            strobe(chip, {row.number}, scans=8)
            frame = chip.frame(0)
            assert frame.spare_bits == 0
            assert len(frame.data) == 3 * 108
            assert lit_pixels(frame.data) == wire_bytes((*row.pixels, *always), 0, "GRB"), f"lamp {row.number}"
            checked += 1
        assert checked == 63


@pytest.mark.slow
async def test_the_final_check_on_the_compiled_board(tmp_path: Path) -> None:
    """Two outputs; every lamp and every group by its number, lit by the board's own table, and proved."""
    map_ = lit_up()
    path = saved(map_, tmp_path / "kelp.json")
    with SimulatedAvr(build.build_avr(KELP), outputs=2) as chip:
        code = await asyncio.to_thread(main, ["table", str(path), "--port", chip.pty, "--write"])
        assert code == 0
        changed = asyncio.Event()
        document = Document.open(path)
        runtime = Runtime(document, {"prove": make}, on_change=changed.set)
        link = BoardLink(PortSpec(address=chip.pty), on_event=runtime.link_event)
        runtime.start()
        runtime.open("prove")
        runtime.attach(link)
        link.start()

        def state() -> Prove:
            assert runtime.top is not None
            seen: Prove = runtime.seen(runtime.top)
            return seen

        try:
            for at, row in enumerate(state().rows):
                runtime.dispatch(GoToLamp(at))
                async with asyncio.timeout(30):
                    while not state().is_lit:
                        changed.clear()
                        await changed.wait()
                assert state().by_table
                for output in (0, 1):
                    lit = lit_pixels(chip.frame(output).data)
                    assert lit == wire_bytes(row.pixels, output, "GRB"), row.title
                runtime.dispatch(SayVerdict(Verdict.RIGHT, NOW))
                await runtime.settled()
        finally:
            await runtime.end()
            await link.close()
            document.release()
    proved = load_map(path)
    assert tally(proved).words == f"73 of 73 proved since the last change, last {local_minute(NOW)}"
    assert all(proof.by_table for proof in proved.proofs)
