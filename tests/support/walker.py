"""Walks a whole map with the real conductor, link and file, by a scripted person; no screen."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from probe.document.file import MapFile
from probe.document.model import PixelState, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count, set_lamps
from probe.link import BoardLink, LinkEvent
from probe.mapping.keys import Leave
from probe.mapping.walk import step
from probe.mapping.walk_state import Walk, start
from probe.runtime import Activity, Conductor
from tests.support.person import Person


def blank_copy(truth: PlayfieldMap, *, lamps: bool = False) -> PlayfieldMap:
    """The same machine and chains with nothing answered."""
    m = new_map(truth.machine.name)
    if lamps:
        m = set_lamps(m, truth.lamps)
    for chain in truth.chains:
        m = set_count(add_chain(m, chain.model_copy(update={"pixels": ()})), chain.id, chain.length)
    return m


@dataclass
class Report:
    """What happened on a walk."""

    answers: int = 0
    claims: list[tuple[str, int]] = field(default_factory=list)
    wrong_claims: list[str] = field(default_factory=list)
    map: PlayfieldMap | None = None


async def walk_it(
    truth: PlayfieldMap,
    path: Path,
    make_link: Callable[[Callable[[LinkEvent], None]], BoardLink],
    lit_numbers: Callable[[], set[tuple[str, int]]],
    *,
    patience_s: float = 30.0,
    before_answer: Callable[[int], None] = lambda at: None,
) -> Report:
    """Answer every pixel of `truth`'s chains. `lit_numbers` tells what the pixels really show, as (chain, number).

    Each time the walk says "lit", what it says is compared with what is lit then. Raises TimeoutError when nothing lights
    for `patience_s`.
    """
    report = Report()
    person = Person(truth)
    changed = asyncio.Event()

    def on_change(walk: Walk) -> None:
        if walk.is_lit:
            claim = (walk.chain, walk.number)
            report.claims.append(claim)
            really = lit_numbers()
            if really != {claim}:
                report.wrong_claims.append(f"says {claim}, lit is {sorted(really)}")
        changed.set()

    with MapFile.create(path, blank_copy(truth)) as file:
        conductor = Conductor(store=file)
        link = make_link(conductor.link_event)
        conductor.board = link
        activity = Activity(start(file.map), step, on_change)
        conductor.begin(activity)
        link.start()
        try:
            while any(p.state is PixelState.UNSEEN for _, _, p in activity.state.map.walk_pixels()):
                async with asyncio.timeout(patience_s):
                    while not activity.state.is_lit:
                        changed.clear()
                        await changed.wait()
                before_answer(report.answers)
                if activity.state.typed or activity.state.chosen:
                    conductor.take(Leave())  # an answer that was refused while the light went out
                for key in person.inputs(activity.state):
                    conductor.take(key)
                report.answers += 1
                await conductor.settled()
            report.map = activity.state.map
        finally:
            await conductor.stop()
            await link.close()
    return report
