"""What the program is launched with, and how it opens more: given from below, so that screens know no files or ports.

Both are frozen: what changes while it runs is the session that the app holds, put in place of the one before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from typing import TYPE_CHECKING, Protocol

from probe.document.document import Document
from probe.document.model import Lamp, PlayfieldMap
from probe.document.settings import SeenTable, Signs
from probe.frozen import frozen
from probe.mapping.walk_state import START_LEVEL
from probe.ui.start import PortChoice

if TYPE_CHECKING:
    from probe.link import BoardLink, LinkEvent
    from probe.practice.round import PracticeRound

Seen = tuple[tuple[str, str], ...]
MakeLink = Callable[[Callable[["LinkEvent"], None]], "BoardLink"]


class Opener(Protocol):
    """Opens maps and ports for the screens. Trouble raises OSError or StorageError in plain words."""

    def recent(self) -> Sequence[str]:
        """Maps used lately, the last one first."""

    def look(self, path: str) -> PlayfieldMap | None:
        """The map in a file, only to look at; None if it cannot be read."""

    def ports(self) -> Sequence[PortChoice]:
        """Ways to reach a board."""

    def open_file(self, path: str) -> Session:
        """A map file, or a new one."""

    def open_demo(self) -> Session:
        """The demo."""

    def with_port(self, choice: PortChoice, session: Session) -> Session:
        """The session on a port that was picked, or on paper. A port is remembered for its map once its board has answered."""

    def remember_map(self, path: str) -> None:
        """A map went on in another file: that is the one used lately."""

    def remember_table(self, path: str, crc: int) -> None:
        """The board of this map holds a table with this checksum."""

    def table_seen(self, path: str) -> SeenTable | None:
        """What the board of a map was last seen to hold, or None."""

    def remember_setting(self, name: str, value: object) -> None:
        """A setting to begin with the next time. Raises StorageError where it cannot be kept."""


@frozen(kw_only=True)
class LaunchOptions:
    """What settings and command line ask for.

    `start_here`: begin at home. `faults_on`: the id of the chain the fault finder opens on, instead of the
    walk; `practice` a practice round for it, in words if `in_words`, else by the lit board alone. `recheck_on`: the id of the
    chain to recheck at once, `recheck_said` what is known to be changed, in words. `lamps` go into a new map. `level`: of
    the pixel that is lit, 1 to 255. `changed_keys`: other keys for commands, by id. `signs`: what pictures are
    drawn with; `ask_signs`: nobody has said yet which this terminal's font has. `welcome` comes before the session's.
    """

    start_here: bool = False
    changed_keys: Mapping[str, str] = field(default_factory=dict)
    bell: bool = False
    steady_only: bool = False
    signs: Signs = "fine"
    ask_signs: bool = False
    tour: bool = False
    theme: str = "dark-shop"
    level: int = START_LEVEL
    welcome: str = ""
    lamps: tuple[Lamp, ...] = ()
    faults_on: str = ""
    recheck_on: str = ""
    recheck_said: tuple[str, ...] = ()
    practice: PracticeRound | None = None
    in_words: bool = True

    @property
    def plain_ascii(self) -> bool:
        """Whether nothing but ASCII is drawn."""
        return self.signs == "ascii"

    @property
    def brightness_percent(self) -> int:
        """Of the pixel that is lit."""
        return round(100 * self.level / 255)


@frozen(kw_only=True)
class Session:
    """What is open: a document, and what is at the other end of the cable.

    `make_link` gives a link for an event callback; None means that a port has yet to be picked, or paper entry if
    `paper`. `eyes` gives what a simulated playfield shows, as (place id, colour word) pairs, and `truth` where those
    places are; both None with a real board. `game` presses a target of a simulated game by its lamp, or begins and ends its
    lamp test (None). `welcome` is shown on the walk, `goodbye` in the shell afterwards.
    `on_answer` is called once, when a board has answered. `begin_at`: the pixel (chain, number) that the walk begins on, if not where the last one stopped;
    the chain "" is the first.
    """

    document: Document = field(default_factory=Document.in_memory)
    paper: bool = False
    make_link: MakeLink | None = None
    eyes: Callable[[], Seen] | None = None
    truth: PlayfieldMap | None = None
    game: Callable[[int | None], None] | None = None
    welcome: str = ""
    goodbye: str = ""
    begin_at: tuple[str, int] | None = None
    on_answer: Callable[[], None] | None = None

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
