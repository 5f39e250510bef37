"""The recheck from a map and back, by a scripted person on planted rewiring; no board, no screen."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from device_protocol.messages import Identity, RestartCause
from device_protocol.values import Colour
from device_protocol.wiring import Wiring
from probe.maps.model import PlayfieldMap
from probe.maps.revisions import undo, verified_count
from probe.rechecking.keys import Key
from probe.rechecking.state import Rechecking, Stage
from probe.rechecking.step import start, step
from probe.steps import BoardHere, Effect, SaveMap, ShowDark, Shown, ShowPicture, ShowPixel, Think, Thought
from probe.storage import demo_map_path, load_map
from tests.support.rechecker import NOW, agrees, keys_for, lights_of, new_pixels, seen, wiring_of_chain

CHAIN = "playfield"
Change = Callable[[Wiring], Wiring]

REWIRED: dict[str, Change] = {
    "nothing": lambda w: w,
    "two spliced in": lambda w: w.spliced_in(30, *new_pixels("Otter lamp", "Otter eye")),
    "one spliced in at the start": lambda w: w.spliced_in(0, *new_pixels("Otter lamp")),
    "one spliced in at the end": lambda w: w.spliced_in(len(w), *new_pixels("Otter lamp")),
    "one taken out": lambda w: w.removed(20),
    "a run taken out": lambda w: w.removed(60, 4),
    "two swapped": lambda w: w.swapped(12, 40),
    "a run reversed": lambda w: w.reversed_run(25, 7),
    "a run moved": lambda w: w.moved(10, 5, 50),
    "one at each of three": lambda w: (
        w.spliced_in(70, *new_pixels("Otter lamp"))
        .removed(47)
        .spliced_in(5, *new_pixels("Otter eye", "Otter ear", "Otter paw"))
    ),
    "one went dark": lambda w: w.without_light(33),
}


BOARD = Identity(
    proto=1,
    board="test-board",
    build="1.0",
    line=96,
    outputs=2,
    pixels=600,
    ceiling_ma=2_000,
    channel_ua=20_000,
    idle_ua=1_000,
    silence_ms=5_000,
    uptime_ms=1,
    cause=RestartCause.POWER,
    table=0,
    features=frozenset({"setup", "range", "paint"}),
)


def demo() -> PlayfieldMap:
    return load_map(demo_map_path())


class Bench:
    """Runs effects at once on a wiring; remembers what was saved."""

    def __init__(self, m: PlayfieldMap, wiring: Wiring, board: Identity) -> None:
        self.wiring = wiring
        self.frame: tuple[Colour, ...] = ()
        self.saved: list[PlayfieldMap] = []
        self.actions: list[str] = []
        self.state: Rechecking = start(m, CHAIN)
        self.give(BoardHere(board))

    def give(self, given: object) -> None:
        self.state, effects = step(self.state, given, 0.0)  # type: ignore[arg-type]
        for effect in effects:
            self.run(effect)

    def run(self, effect: Effect) -> None:
        match effect:
            case Think(tag, job):
                self.give(Thought(tag, job()))
            case SaveMap(m):
                self.saved.append(m)
            case ShowPicture(_, colours):
                self.frame = colours
                self.give(Shown(effect))
            case ShowPixel(_, number, colour):
                self.frame = (Colour(0, 0, 0),) * number + (colour,)
                self.give(Shown(effect))
            case ShowDark():
                self.frame = ()
                self.give(Shown(effect))
            case _:
                pass

    def keys(self) -> list[Key]:
        return keys_for(self.state, seen(lights_of(self.wiring, self.frame)))

    def finish(self, most: int = 80) -> None:
        for _ in range(most):
            if self.state.stage is Stage.SAVED:
                return
            if self.state.stage in (Stage.LOOK, Stage.PROBE):
                self.actions.append(f"{self.state.action}"[:60])
            for key in self.keys():
                self.give(key)
        raise AssertionError(f"not finished after {most} turns: {self.actions}")


@pytest.mark.parametrize("change", REWIRED)
def test_the_map_comes_out_right(change: str) -> None:
    m = demo()
    wiring = REWIRED[change](wiring_of_chain(m, m.chain(CHAIN)))
    bench = Bench(m, wiring, BOARD)
    bench.finish()
    after = bench.state.map
    assert agrees(after, CHAIN, wiring) == [], bench.actions
    assert after.chain("backbox") is m.chain("backbox")
    assert bench.saved == [after]
    assert len(after.revisions) == len(m.revisions) + 1
    assert after.revisions[-1].time == NOW
    assert undo(after, time=NOW).chains == m.chains
    print(change, bench.state.answers, bench.state.namings, verified_count(after, after.chain(CHAIN)), bench.actions)
