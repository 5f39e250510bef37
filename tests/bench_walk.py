"""What walking a chain costs: key to wire, keystrokes and seconds a pixel, start-up, a map of 10,000 pixels."""

from __future__ import annotations

import asyncio
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pexpect
import psutil

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from probe.document.file import MapFile, demo_map_path, load_map
from probe.document.model import Chain, Pixel, PixelState, Place, PlayfieldMap, Position
from probe.document.operations import add_chain, add_place, assign_place, new_map
from probe.inference.keystroke import Operator
from probe.mapping.keys import Move
from probe.mapping.walk import start, step
from tests.support.person import Person
from tests.support.pty_board import PtyBoard
from tests.support.walker import blank_copy

PAGE_DOWN, PAGE_UP = "\x1b[6~", "\x1b[5~"


def _percentile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def _line(what: str, values: list[float], unit: str = "ms") -> None:
    print(
        f"{what:<58} p50 {statistics.median(values):8.2f}   p99 {_percentile(values, 0.99):8.2f} {unit}   n={len(values)}"
    )


def _environment(folder: str) -> dict[str, str]:
    return {
        **os.environ,
        "PLAYFIELD_PROBE_SETTINGS": str(Path(folder) / "settings.json"),
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
        _line("key press to last order byte at the port's far end", taken)
        child.sendcontrol("q")
        child.expect(pexpect.EOF)


def key_to_latch(presses: int) -> None:
    """The same to the moment the harness reports the frame latched on the simulated AVR's data pin."""
    from tests.firmware.build import build_avr
    from tests.firmware.simulated_avr import SimulatedAvr

    whole = load_map(demo_map_path())
    truth = whole.model_copy(update={"chains": whole.chains[:1], "bookmark": None})
    with tempfile.TemporaryDirectory() as folder, SimulatedAvr(build_avr()) as chip:
        child = _walk_program(folder, chip.pty, truth)
        child.expect("LIT")
        _drain(child, 1.0)
        taken: list[float] = []
        for at in range(presses):
            before = chip.frame(0).frames
            begun = time.monotonic()
            child.send(PAGE_DOWN if at % 40 < 20 else PAGE_UP)
            while chip.frame(0).frames == before and time.monotonic() - begun < 2:
                pass
            taken.append((time.monotonic() - begun) * 1000)
            _drain(child, 0.1)
        _line("key press to latched frame on the simulated AVR (84 pixels)", taken)
        child.sendcontrol("q")
        child.expect(pexpect.EOF)


def keystrokes() -> None:
    """Keystrokes and seconds a pixel for mapping the demo, with and without its lamp list, beside the plain way."""
    truth = load_map(demo_map_path())
    k, m, h, p = Operator.KEY.seconds, Operator.THINK.seconds, Operator.HOMING.seconds, Operator.POINT.seconds
    print(
        "Keystroke-Level Model (Card, Moran and Newell 1980): K 0.20, M 1.35, H 0.40, P 1.10 s; M a pixel for looking"
    )
    results = {}
    for name, lamps in (("with a lamp list", True), ("without one", False)):
        walk, person = start(blank_copy(truth, lamps=lamps), paper=True), Person(truth)
        total = sum(chain.length for chain in truth.chains)
        for at in range(total):
            for key in person.inputs(walk):
                walk, _ = step(walk, key, float(at))
        keys = person.count.keys / total
        seconds = m + keys * k
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
            plain_seconds += typed * k + m + 2 * h + letters * k + m + p + (letters + 1) * k
            count += 1
    print(f"  {'the plain way':<20} {plain_keys / count:5.2f} keystrokes a pixel, {plain_seconds / count:.2f} s")
    for name, seconds in results.items():
        print(f"  ratio of time, plain way to walk {name}: {plain_seconds / count / seconds:.1f}")


def _time_command(arguments: list[str], rounds: int) -> float:
    taken = []
    for _ in range(rounds):
        begun = time.monotonic()
        subprocess.run(arguments, check=True, capture_output=True)
        taken.append((time.monotonic() - begun) * 1000)
    return statistics.median(taken)


_EMPTY_APP = """
from textual.app import App
from textual.widgets import Static
class Empty(App):
    def compose(self):
        yield Static("ready-to-see")
Empty().run()
"""


def _first_paint(arguments: list[str], text: str, rounds: int) -> float:
    taken = []
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(rounds):
            begun = time.monotonic()
            child = pexpect.spawn(
                sys.executable,
                arguments,
                env=_environment(folder),
                dimensions=(24, 80),
                encoding="utf-8",
                timeout=30,
            )
            child.expect_exact(text)
            taken.append((time.monotonic() - begun) * 1000)
            child.sendcontrol("q")
            child.expect(pexpect.EOF)
    return statistics.median(taken)


def start_up(rounds: int) -> None:
    """Start-up beside the interpreter itself and an empty Textual app."""
    bare = _time_command([sys.executable, "-c", "pass"], rounds)
    versioned = _time_command([sys.executable, "-m", "probe", "--version"], rounds)
    print(f"{'bare interpreter':<58} {bare:8.0f} ms")
    print(f"{'--version':<58} {versioned:8.0f} ms   ratio {versioned / bare:.1f}")
    empty = _first_paint(["-c", _EMPTY_APP], "ready-to-see", rounds)
    ours = _first_paint(["-m", "probe", "demo"], "What lights?", rounds)
    print(f"{'first paint of an empty Textual app':<58} {empty:8.0f} ms")
    print(f"{'first paint of the demo':<58} {ours:8.0f} ms   ratio {ours / empty:.1f}")


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
    m = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Long", output=0, count=pixels, pixels=held))
    return m.model_copy(update={"places": places})


def _timed(work: Callable[[], object], rounds: int) -> list[float]:
    taken = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        taken.append((time.perf_counter() - begun) * 1000)
    return taken


def big_map(rounds: int) -> None:
    """Load, label and save, and redraw with 10,000 pixels."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "map.json"
        MapFile.create(path, large_map()).close()
        print(f"{'file of 10,000 pixels and places':<58} {path.stat().st_size / 1e6:8.2f} MB")
        _line("load", _timed(lambda: load_map(path), rounds))
        with MapFile.open(path) as file:
            state = {"map": file.map, "at": 0}
            file.save(file.map)

            def label_and_save() -> None:
                m: PlayfieldMap = state["map"]  # type: ignore[assignment]
                at: int = state["at"]  # type: ignore[assignment]
                m, place = add_place(m, f"Renamed {at}")
                m = assign_place(m, "a", at, place.id)
                file.save(m)
                state["map"], state["at"] = m, at + 1

            _line("label and save (fsync included)", _timed(label_and_save, rounds))
        walk = start(load_map(path), paper=True)
        _line("step to the next pixel, pure", _timed(lambda: step(walk, Move(1), 0.0), rounds))
        redraw = asyncio.run(_redraw(load_map(path), rounds))
        _line("step and redraw the screen, 120 × 40", redraw)
        print(f"{'memory of this process with that map open':<58} {psutil.Process().memory_info().rss / 1e6:8.1f} MB")


async def _redraw(m: PlayfieldMap, rounds: int) -> list[float]:
    from probe.ui.app import ProbeApp
    from probe.ui.plan import Plan
    from tests.ui.conftest import NoOpener

    app = ProbeApp(Plan(NoOpener(), map=m, paper=True))
    taken = []
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        for _ in range(rounds):
            begun = time.perf_counter()
            app.conductor.take(Move(1))
            app.screen._refresh_layout()
            app.screen._compositor.render_update(full=True)
            taken.append((time.perf_counter() - begun) * 1000)
            await pilot.pause()
    return taken


def run(argv: list[str]) -> int:
    """Print everything; `--quick` for fewer rounds."""
    quick = "--quick" in argv
    keystrokes()
    key_to_wire(40 if quick else 400)
    key_to_latch(20 if quick else 200)
    start_up(3 if quick else 10)
    big_map(10 if quick else 50)
    return 0
