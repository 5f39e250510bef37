"""The tasks that the contract is run over: how each is opened, and events that make it light and change the map."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from probe.document.model import Chain, PlayfieldMap, Position
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count
from probe.runtime.runtime import Maker, Runtime

Events = Callable[[Runtime, Callable[[], Any]], Iterator[object]]


@dataclass(frozen=True)
class Played:
    """`events` gives what a person does, one event after another, looking at the state; `moves` are keys that only move the light.

    `undoes_map`: whether undo in it goes over changes of the map (else over answers that it keeps to itself).
    """

    name: str
    map: Callable[[], PlayfieldMap]
    makers: Callable[[], Mapping[str, Maker]]
    events: Events
    facts: Callable[[PlayfieldMap], object] = lambda map_: None
    moves: tuple[object, ...] = ()
    undoes_map: bool = True


def two_chains() -> PlayfieldMap:
    """Six pixels on output 0 of which three are named, four on output 1."""
    map_ = new_map("Kelp Forest")
    for output, (name, count) in enumerate([("playfield", 6), ("backbox", 4)]):
        map_ = set_count(add_chain(map_, Chain(id=name, name=name.title(), output=output)), name, count)
    for number in range(3):
        map_, place = add_place(map_, f"Reef lane {number + 1}", position=Position(x_mm=100 + 50 * number, y_mm=300))
        map_ = assign_place(map_, "playfield", number, place.id)
    return map_


def _walk() -> Played:
    from probe.mapping.walk import make
    from probe.mapping.walk_keys import GoTo, Move, Say
    from probe.mapping.walk_state import OneKey
    from probe.task.events import Take, Typed

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        yield GoTo(3, "playfield")
        yield Typed("Otter")
        yield Take()
        yield Say(OneKey.NOTHING_LIT)
        yield GoTo(0, "backbox")
        yield Typed("Eel")
        yield Take()

    return Played("walk", two_chains, lambda: {"walk": make}, events, moves=(Move(1), Move(1), Move(-1)))


def _faults() -> Played:
    from probe.faults.commands import SayYesNo, StepPattern
    from probe.task.events import Choose, Leave, Take
    from probe.ui.app import make_faults

    now = "2025-03-16T20:00:00Z"

    def events(runtime: Runtime, state: Callable[[], Any]) -> Iterator[object]:
        keys = [item.key for item in state().items]
        yield Choose(keys.index("flex"))
        yield Take(now)
        yield SayYesNo(yes=True, time=now)
        yield SayYesNo(yes=False, time=now)
        yield Leave()
        yield Take(now)
        yield Choose(1)
        yield Take(now)
        yield Take(now)

    return Played(
        "faults",
        two_chains,
        lambda: {"faults": make_faults},
        events,
        # the shorter chain: a question lights as many pixels on every output, and only what is there can be confirmed
        facts=lambda map_: (map_.chains[-1].id, 0),
        moves=(StepPattern(1), StepPattern(1), StepPattern(-1)),
    )


TASKS: dict[str, Played] = {"walk": _walk(), "faults": _faults()}
