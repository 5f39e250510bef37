"""Commands of the fault finder: open it on a map, practise on a planted fault, print a joint's sheet."""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable
from dataclasses import replace

from probe.cli.outcome import Exit, complain, say
from probe.document.document import Document
from probe.document.file import load_map
from probe.document.model import PlayfieldMap
from probe.faults.tables import load
from probe.faults.view import sheet
from probe.link import BoardLink, LinkEvent
from probe.link.simulated_wire import SimulatedPort
from probe.practice.round import CHAIN, PracticeRound
from probe.ui.launch import LaunchOptions, Session

SEEDS = 10_000


def chain_of(map_: PlayfieldMap, wanted: str | None) -> str:
    """The chain to search: the one named by id or name, else the bookmark's, else the first. Raises ValueError."""
    if not map_.chains:
        raise ValueError("this map has no chain yet: set one up with `playfield-probe walk` first")
    if wanted is not None:
        for chain in map_.chains:
            if wanted in (chain.id, chain.name):
                return chain.id
        known = ", ".join(chain.id for chain in map_.chains)
        raise ValueError(f"there is no chain {wanted!r} in this map; there are {known}")
    return map_.bookmark.chain if map_.bookmark is not None else map_.chains[0].id


def chain_in(session: Session, wanted: str | None) -> str:
    """The id of the chain to open on, in a session's map. Raises ValueError."""
    if session.map is None:
        path = session.path
        raise ValueError(f"{path}: there is no such map; make one with `playfield-probe walk {path}`")
    return chain_of(session.map, wanted)


def practise(options: LaunchOptions, *, seed: int | None, in_words: bool) -> tuple[LaunchOptions, Session]:
    """A practice round to open on: a simulated board on a wiring with a fault drawn from the seed."""
    chosen = random.SystemRandom().randrange(SEEDS) if seed is None else seed
    knowledge = load()
    practice = PracticeRound(knowledge.weights, knowledge.observations, seed=chosen)
    port = SimulatedPort(practice.board, name=f"practice round {chosen}")

    def make(on_event: Callable[[LinkEvent], None]) -> BoardLink:
        return BoardLink(port.open, on_event=on_event)

    asked = replace(options, practice=practice, in_words=in_words, faults_on=CHAIN)
    return asked, Session(document=Document.in_memory(practice.map), make_link=make)


def print_sheet(arguments: argparse.Namespace) -> int:
    """Print the function and colour sheet of the joint that arrives at a pixel."""
    map_ = load_map(arguments.map)
    try:
        chain = map_.chain(chain_of(map_, arguments.chain))
    except ValueError as exc:
        complain(str(exc))
        return Exit.USAGE
    if not 0 <= arguments.joint < max(1, chain.length):
        complain(f"chain {chain.id!r} has no joint at {arguments.joint}: 0 to {max(0, chain.length - 1)}")
        return Exit.USAGE
    say(f"{map_.machine.name} · {chain.name}")
    say(*sheet(map_, chain.id, arguments.joint - 1))
    return Exit.FINE
