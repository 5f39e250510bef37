"""Walks a whole map with the real runtime, link and file, by a scripted person; no screen."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from probe.document.document import Document
from probe.document.model import PixelState, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count, set_lamps
from probe.link import BoardLink, LinkEvent
from probe.mapping.walk import make
from probe.mapping.walk_state import Walk
from probe.runtime.runtime import Runtime
from probe.task.events import Leave
from tests.support.person import Person


def blank_copy(truth: PlayfieldMap, *, lamps: bool = False) -> PlayfieldMap:
    """The same machine and chains with nothing answered."""
    map_ = new_map(truth.machine.name)
    if lamps:
        map_ = set_lamps(map_, truth.lamps)
    for chain in truth.chains:
        map_ = set_count(add_chain(map_, chain.model_copy(update={"pixels": ()})), chain.id, chain.length)
    return map_


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
    document = Document.new(path)
    document.commit(blank_copy(truth))
    document.save_now()

    def walk() -> Walk:
        assert runtime.top is not None
        state: Walk = runtime.seen(runtime.top)
        return state

    def look() -> None:
        """What is said to be lit is compared with what is; kept once for each pixel in its turn."""
        if runtime.top is not None and walk().is_lit:
            claim = (walk().chain, walk().number)
            if report.claims[-1:] != [claim]:
                report.claims.append(claim)
            really = lit_numbers()
            if really != {claim}:
                report.wrong_claims.append(f"says {claim}, lit is {sorted(really)}")

    def on_change() -> None:
        look()
        changed.set()

    runtime = Runtime(document, {"walk": make}, on_change=on_change)
    link = make_link(runtime.link_event)
    runtime.attach(link)
    runtime.start()
    runtime.open("walk")
    link.start()
    try:
        while any(p.state is PixelState.UNSEEN for _, _, p in document.map.walk_pixels()):
            async with asyncio.timeout(patience_s):
                while not (walk().is_lit or walk().end_is_lit):
                    changed.clear()
                    await changed.wait()
            look()
            if walk().end is not None:  # past the end of the chain nothing lights
                for key in person.inputs(walk()):
                    runtime.dispatch(key)
                await runtime.settled()
                continue
            before_answer(report.answers)
            if walk().typed or walk().chosen:
                runtime.dispatch(Leave())  # an answer that was refused while the light went out
            for key in person.inputs(walk()):
                runtime.dispatch(key)
            report.answers += 1
            await runtime.settled()
        report.map = document.map
    finally:
        await runtime.end()
        await link.close()
        document.release()
    return report
