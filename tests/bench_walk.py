"""What walking a chain costs: key to wire, order to light, keystrokes and seconds a pixel, a map of 10,000 pixels.

The host's time and the chip's are measured apart: one by this machine's clock, one in the simulated chip's cycles.
"""

from __future__ import annotations

import asyncio
import gc
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pexpect
import psutil

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from probe.document.document import Document
from probe.document.file import MapFile, demo_map_path, load_map
from probe.document.model import Chain, Pixel, PixelState, Place, PlayfieldMap, Position
from probe.document.operations import add_chain, add_place, assign_place, new_map
from probe.inference.keystroke import Operator
from probe.mapping.walk import WalkTask
from probe.mapping.walk_keys import Move
from probe.mapping.walk_state import start
from tests.support.person import Person
from tests.support.played import Played
from tests.support.served_board import PtyBoard
from tests.support.settings import settings_in
from tests.support.walker import blank_copy

PAGE_DOWN, PAGE_UP = "\x1b[6~", "\x1b[5~"


def _percentile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def _line(what: str, values: list[float], *, aim: str = "") -> None:
    """All in milliseconds."""
    found = f"p50 {statistics.median(values):8.2f}   p99 {_percentile(values, 0.99):8.2f} ms   n={len(values)}"
    print(f"{what:<58} {found}" + (f"   aim {aim}" if aim else ""))


def _environment(folder: str) -> dict[str, str]:
    return {
        **os.environ,
        "PLAYFIELD_PROBE_SETTINGS": settings_in(folder),
        "TERM": "xterm-256color",
        "COLUMNS": "80",
        "LINES": "24",
    }


def _walk_program(folder: str, port: str, truth: PlayfieldMap) -> pexpect.spawn[str]:
    path = Path(folder) / "map.json"
    if not path.exists():
        MapFile.create(path, blank_copy(truth)).close()
    child = pexpect.spawn(
        sys.executable,
        ["-m", "probe", "walk", str(path), "--port", port],
        env=_environment(folder),
        dimensions=(24, 80),
        encoding="utf-8",
        timeout=20,
    )
    child.delaybeforesend = None  # pexpect's own 50 ms before each key
    return child


def _drain(child: pexpect.spawn[str], seconds: float) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            child.read_nonblocking(65_536, timeout=max(0.001, end - time.monotonic()))
        except pexpect.TIMEOUT:
            return


def key_to_wire(presses: int) -> None:
    """From writing a key into the program's terminal to the last byte of the order at the far end of its port."""
    truth = load_map(demo_map_path())
    chance = random.Random(1)
    config = BoardConfig(outputs=2, pixels=1_000)
    wirings = [ChainWiring.of_places(f"{c.id}:{n}" for n in range(c.length)) for c in truth.chains]
    with tempfile.TemporaryDirectory() as folder, PtyBoard(SimulatedBoard(config, wirings)) as served:
        child = _walk_program(folder, served.path, truth)
        child.expect("LIT")
        _drain(child, 1.0)
        taken: list[float] = []
        for at in range(presses):
            before = len(served.light_times_s)
            begun = time.monotonic()
            child.send(PAGE_DOWN if at % 40 < 20 else PAGE_UP)
            while len(served.light_times_s) == before and time.monotonic() - begun < 2:
                time.sleep(0.0002)
            if len(served.light_times_s) > before:
                taken.append((served.light_times_s[before] - begun) * 1000)
            _drain(child, 0.08 + chance.random() * 0.08)
        _line("host: key press to last order byte at the port's far end", taken, aim="p99 < 10 ms")
        child.sendcontrol("q")
        child.expect(pexpect.EOF)


def order_to_latch(orders: int) -> None:
    """From an order's last stop bit to the end of its frame on the data pin, in cycles of the chip (16 a microsecond).

    The chip is stepped, so the speed of this machine has no part in it.
    """
    from tests.firmware.build import ONE_OUTPUT, build_avr
    from tests.firmware.orders import order
    from tests.firmware.simulated_avr import CYCLE_NS, SimulatedAvr

    chance = random.Random(1)
    with SimulatedAvr(build_avr(ONE_OUTPUT), paused=True) as chip:
        chip.receive_line(100)
        chip.feed(order(1, "setup 0 84 GRB 300 2000"))
        chip.receive_line(100)
        taken = []
        for at in range(orders):
            data = order(2 + at % 90, f"light 0 {at % 84} 101010")
            chip.run(5 + chance.random())
            begun, before = chip.cycle(), chip.frame(0).frames
            chip.feed(data)
            last = begun + round(len(data) * 10 * 1e9 / 115_200 / CYCLE_NS)
            chip.run(50)
            assert chip.frame(0).frames == before + 1
            taken.append((chip.frame(0).end_cycle - last) * CYCLE_NS / 1e6)
        _line("chip: order's last byte to its frame's end, 84 pixels", taken)


def keystrokes() -> None:
    """Keystrokes and seconds a pixel for mapping the demo, with and without its lamp list, beside the plain way."""
    truth = load_map(demo_map_path())
    k, map_, h, p = Operator.KEY.seconds, Operator.THINK.seconds, Operator.HOMING.seconds, Operator.POINT.seconds
    print(
        "Keystroke-Level Model (Card, Moran and Newell 1980): K 0.20, M 1.35, H 0.40, P 1.10 s; M a pixel for looking"
    )
    results = {}
    for name, lamps in (("with a lamp list", True), ("without one", False)):
        walk, person = Played(WalkTask(), start(blank_copy(truth, lamps=lamps), paper=True)), Person(truth)
        total = sum(chain.length for chain in truth.chains)
        for _ in range(total):
            walk(*person.inputs(walk.state))
        keys = person.count.keys / total
        seconds = map_ + keys * k
        results[name] = seconds
        print(
            f"  {name:<20} {keys:5.2f} keystrokes a pixel ({person.count.letters / total:.2f} letters), {seconds:.2f} s"
        )
    plain_keys = plain_seconds = 0.0
    count = 0
    for chain in truth.chains:
        for number, pixel in enumerate(chain.pixels):
            place = truth.place_of(pixel)
            letters = len(place.label) if place is not None else 5
            typed = len(str(number)) + 1
            # type the number, Enter, look, hand to paper, write, hand back, later find the row and type it in the table
            plain_keys += typed + letters + letters + 1
            plain_seconds += typed * k + map_ + 2 * h + letters * k + map_ + p + (letters + 1) * k
            count += 1
    print(f"  {'the plain way':<20} {plain_keys / count:5.2f} keystrokes a pixel, {plain_seconds / count:.2f} s")
    for name, seconds in results.items():
        print(f"  ratio of time, plain way to walk {name}: {plain_seconds / count / seconds:.1f}")


def large_map(pixels: int = 10_000) -> PlayfieldMap:
    """A map of one chain with a place for each pixel."""
    places = tuple(
        Place(
            id=f"place-{n}",
            label=f"Place {n}",
            area=f"Area {n // 100}",
            position=Position(x_mm=float(n % 500), y_mm=float(n // 10)),
        )
        for n in range(pixels)
    )
    held = tuple(Pixel(id=f"a-{n}", state=PixelState.PLACED, place=f"place-{n}") for n in range(pixels))
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Long", output=0, count=pixels, pixels=held))
    return map_.model_copy(update={"places": places})


def _timed(work: Callable[[], object], rounds: int) -> list[float]:
    taken = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        taken.append((time.perf_counter() - begun) * 1000)
    return taken


def _load_beside_one_pass(path: Path, rounds: int) -> None:
    """Loading, beside pydantic-core turning the same text into the same records once, the collector off; by turns."""
    text = path.read_bytes()
    loads, passes = [], []
    for _ in range(rounds):
        loads += _timed(lambda: load_map(path), 1)
        gc.collect()
        gc.disable()
        passes += _timed(lambda: PlayfieldMap.model_validate_json(text), 1)
        gc.enable()
    _line("load", loads)
    _line("one pass of pydantic-core over the same text", passes)
    print(f"{'ratio of medians':<58}     {statistics.median(loads) / statistics.median(passes):8.2f}   aim <= 1.15")


def big_map(rounds: int) -> None:
    """Load, label and save, and redraw with 10,000 pixels."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "map.json"
        MapFile.create(path, large_map()).close()
        print(f"{'file of 10,000 pixels and places':<58} {path.stat().st_size / 1e6:8.2f} MB")
        _load_beside_one_pass(path, rounds)
        with MapFile.open(path) as file:
            state = {"map": file.map, "at": 0}
            file.save(file.map)

            def label_and_save() -> None:
                map_: PlayfieldMap = state["map"]  # type: ignore[assignment]
                at: int = state["at"]  # type: ignore[assignment]
                map_, place = add_place(map_, f"Renamed {at}")
                map_ = assign_place(map_, "a", at, place.id)
                file.save(map_)
                state["map"], state["at"] = map_, at + 1

            _line("label and save (fsync included)", _timed(label_and_save, rounds))
        task, walk = WalkTask(), start(load_map(path), paper=True)
        _line("step to the next pixel, pure", _timed(lambda: task.step(walk, Move(1), 0.0), rounds))
        redraw, computed = asyncio.run(_redraw(load_map(path), rounds))
        _line("step and redraw the screen, 120 × 40", redraw, aim="p50 < 5 ms")
        _line("  processor time of it", computed)
        print(f"{'memory of this process with that map open':<58} {psutil.Process().memory_info().rss / 1e6:8.1f} MB")


async def _redraw(map_: PlayfieldMap, rounds: int) -> tuple[list[float], list[float]]:
    """From a key's step to what is written to the terminal. Milliseconds by the clock, and of processor time."""
    from textual._compositor import CompositorUpdate

    from probe.ui.app import ProbeApp
    from probe.ui.launch import LaunchOptions, Session
    from tests.support.headless import drawn
    from tests.ui.conftest import NoOpener

    app = ProbeApp(LaunchOptions(), Session(document=Document.in_memory(map_), paper=True), NoOpener())
    signs, written_s = 0, (0.0, 0.0)

    def written(screen: object, update: object) -> None:
        nonlocal signs, written_s
        if isinstance(update, CompositorUpdate):
            signs += len(update.render_segments(app.console))
            written_s = time.perf_counter(), time.process_time()

    app._display = written  # type: ignore[method-assign, assignment]
    taken, computed = [], []
    gc.set_threshold(50_000)  # both as the program does
    gc.freeze()
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        for _ in range(rounds):
            signs, begun, computed_s = 0, time.perf_counter(), time.process_time()
            app.runtime.dispatch(Move(1))
            while app.runtime._change_due:  # noqa: ASYNC110 - the next turn of the loop draws
                await asyncio.sleep(0)
            await drawn(app, until_s=time.monotonic() + 10)
            assert signs, "nothing was drawn"
            taken.append((written_s[0] - begun) * 1000)
            computed.append((written_s[1] - computed_s) * 1000)
            await pilot.pause()
    return taken, computed


def run(argv: list[str]) -> int:
    """Print everything; `--quick` for fewer rounds."""
    quick = "--quick" in argv
    keystrokes()
    key_to_wire(40 if quick else 400)
    order_to_latch(40 if quick else 400)
    big_map(10 if quick else 50)
    return 0
