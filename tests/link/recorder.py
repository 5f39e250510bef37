"""A link to a simulated board, and a listener that writes down what it tells, for the tests to look at."""

from __future__ import annotations

from typing import TypeVar

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.values import Colour
from probe.link import BoardLink, LinkEvent, RetryPolicy
from probe.link.faulty import FaultProfile
from probe.link.simulated_wire import SimulatedPort

RED = Colour(32, 0, 0)
QUICK = RetryPolicy(first_s=0.02, most_s=0.1)

_E = TypeVar("_E", bound=LinkEvent)


class Recorder:
    """A listener and a transcript."""

    def __init__(self) -> None:
        self.events: list[LinkEvent] = []
        self.bytes = {name: bytearray() for name in ("open", "in", "out", "end")}

    def __call__(self, event: LinkEvent) -> None:
        self.events.append(event)

    def transcript(self, at_s: float, direction: str, data: bytes) -> None:
        assert at_s > 0
        assert data
        self.bytes[direction] += data

    def of(self, kind: type[_E]) -> list[_E]:
        return [event for event in self.events if isinstance(event, kind)]

    @property
    def kinds(self) -> list[str]:
        return [type(event).__name__ for event in self.events]


def board(
    *, pixels: int = 40, outputs: int = 1, resets_on_open: bool = False, boot_ms: float = 0.0, features: str = ""
) -> SimulatedBoard:
    """A sound board; place "2.7" is pixel 7 of output 2."""
    config = BoardConfig(pixels=pixels, outputs=outputs)
    if features:
        config = BoardConfig(pixels=pixels, outputs=outputs, features=tuple(features.replace("none", "").split()))
    wirings = [ChainWiring.of_places([f"{output}.{pixel}" for pixel in range(pixels)]) for output in range(outputs)]
    return SimulatedBoard(config, wirings, resets_on_open=resets_on_open, boot_ms=boot_ms)


def port(
    on: SimulatedBoard | None = None, *, faults: FaultProfile | None = None, seed: int = 0, latency_s: float = 0.0
) -> SimulatedPort:
    return SimulatedPort(on or board(), faults=faults, seed=seed, latency_s=latency_s)


def places_lit(on: SimulatedBoard) -> list[str]:
    return [sighting.place for sighting in on.lit()]


def link_to(where: SimulatedPort, recorder: Recorder) -> BoardLink:
    return BoardLink(where.open, on_event=recorder, transcript=recorder.transcript, retry=QUICK)
