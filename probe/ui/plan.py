"""What the program is opened with, and how it opens more: given from below, so that screens know no files or ports."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from probe.document.document import Document
from probe.document.model import Lamp, PlayfieldMap
from probe.link import BoardLink, LinkEvent
from probe.mapping.walk_state import START_LEVEL
from probe.ui.start import PortChoice

if TYPE_CHECKING:
    from probe.practice.round import PracticeRound

Seen = tuple[tuple[str, str], ...]
MakeLink = Callable[[Callable[[LinkEvent], None]], BoardLink]


class Opener(Protocol):
    """Opens maps and ports for the screens. Trouble is told by an OSError or StorageError in plain words."""

    def recent(self) -> Sequence[str]:
        """Maps used lately, the last one first."""

    def ports(self) -> Sequence[PortChoice]:
        """Ways to reach a board."""

    def open_file(self, path: str) -> Plan:
        """A map file, or a new one."""

    def open_demo(self) -> Plan:
        """The demo."""

    def link_to(self, choice: PortChoice, plan: Plan) -> MakeLink | None:
        """How to make a link for a port that was picked; None for paper. The choice is remembered for that map."""


@dataclass
class Plan:
    """What the program is opened with.

    `make_link` gives a link for an event callback; None means that a port has yet to be picked, or paper entry if
    `paper`. `eyes` tells what a simulated playfield shows, as (place id, colour word) pairs, and `truth` where those
    places are; both None with a real board. `faults_on`: the chain the fault finder opens on, instead of the walk; `practice`
    a practice round for it, told `in_words` or by the lit board alone. `recheck_on`: the chain to recheck at once,
    `recheck_said` what is known to be changed, in words. `welcome` is said on the walk, `goodbye` in the shell afterwards.
    """

    opener: Opener
    document: Document = field(default_factory=Document.in_memory)
    start_here: bool = False
    paper: bool = False
    make_link: MakeLink | None = None
    eyes: Callable[[], Seen] | None = None
    truth: PlayfieldMap | None = None
    changed_keys: Mapping[str, str] = field(default_factory=dict)
    bell: bool = False
    steady_only: bool = False
    plain_ascii: bool = False
    tour: bool = False
    theme: str = "dark-shop"
    remember_theme: Callable[[str], None] = lambda _: None
    level: int = START_LEVEL
    welcome: str = ""
    goodbye: str = ""
    lamps: tuple[Lamp, ...] = ()
    faults_on: str = ""
    recheck_on: str = ""
    recheck_said: tuple[str, ...] = ()
    practice: PracticeRound | None = None
    in_words: bool = True

    @property
    def map(self) -> PlayfieldMap | None:
        """The open map, if there is one yet."""
        return self.document.map if self.document.has_map else None

    @property
    def path(self) -> str:
        """The map's file; empty if it has none."""
        return self.document.path

    def close(self) -> None:
        """Let go of the file."""
        self.document.release()
