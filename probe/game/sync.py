"""Putting the map's table into a board: read, compare, write, read back. A task: frozen state, pure step.

The board takes a new table only whole (SPEC 5.17): what is written first is staged beside the table in force, and
`commit` makes it the one in force after the board has read it back by its checksum. Then it is read once more here.
Each order is part of a question; the pieces go one after another, and everything is dark meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from device_protocol.errors import ErrorCode
from device_protocol.framing import crc16
from device_protocol.lamp_table import BoardLampTable, TableFormatError, decode_table
from device_protocol.orders import (
    Order,
    Play,
    PlayState,
    ReadTableState,
    Reply,
    TableBytes,
    TableState,
    table_orders,
    table_read_orders,
)
from probe.document.board_table import BoardTable, TableTooLargeError, board_table, differences
from probe.document.model import PlayfieldMap
from probe.document.plural import many
from probe.game.keys import BOARD, CompareTables, HandOver, WriteWhole
from probe.game.watch import WatchFacts
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Dark, Game, HandsOff, Light
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, TaskView

PIECES_AT_ONCE = 8
"""Orders of one question: what has to be waited for before anything else can be done."""
MOST_RESTARTS = 1
"""How often one write is begun anew because the board forgot what was staged."""


class SyncStage(Enum):
    """What is going on."""

    AWAITING = "waiting for a board"
    LACKING = "this board keeps no table"
    READING = "reading the board's table"
    COMPARED = "compared"
    WRITING = "writing"
    FAILED = "not done"


@dataclass(frozen=True)
class BoardFacts:
    """What it may be opened with. `hands_off`: whoever has the pixels keeps them, as nobody looks at a screen."""

    hands_off: bool = False


@dataclass(frozen=True, kw_only=True)
class Sync(TaskState):
    """The state. `ours` is None where the map makes no table, and `problem` says why.

    `held` is what the board reported of its table, `theirs` that table read; both None until known. `play` what it reported of
    the game's lamps, `to_game` whether the game shall have the pixels, `handing` whether that is still to be announced. `done` and `total` count orders of what is under
    way, `restarts` how often a write was begun anew.
    """

    ours: BoardTable | None = None
    problem: str = ""
    stage: SyncStage = SyncStage.AWAITING
    held: TableState | None = None
    theirs: BoardLampTable | None = None
    differences: tuple[str, ...] = ()
    play: PlayState | None = None
    hands_off: bool = False
    to_game: bool = False
    handing: bool = False
    done: int = 0
    total: int = 0
    restarts: int = 0
    image: bytes = b""
    written: bool = False

    @property
    def same(self) -> bool:
        """Whether the board holds exactly our table, revision included."""
        return (
            self.stage is SyncStage.COMPARED
            and self.ours is not None
            and self.held is not None
            and (self.held.revision, self.held.length, self.held.crc)
            == (self.ours.revision, len(self.ours.image), self.ours.crc)
            and self.image == self.ours.image
        )

    @property
    def is_over(self) -> bool:
        """Whether nothing is under way."""
        return self.stage in (SyncStage.COMPARED, SyncStage.LACKING, SyncStage.FAILED)

    @property
    def game_has(self) -> bool:
        """Whether the board has confirmed that the game has the pixels."""
        return self.to_game and self.board.here and self.board.lit == Game()


_N = Next[Sync]


class BoardTask(Task[Sync]):
    """The board's table beside the map's."""

    name = "board"
    commands = BOARD

    def begin(self, s: Sync, now_s: float) -> _N:
        """Read the board's table if there is a board."""
        return _board(s)

    def step(self, s: Sync, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.BoardChanged():
                return _board(s)
            case ev.Answered(tag, replies) if tag in _TAGS:
                return _answered(s, tag, replies)
            case ev.NotAnswered() if event.tag in _TAGS:
                return _not_answered(s, event)
            case CompareTables():
                return _read(s) if s.board.here and s.stage in _IDLE else (s, ())
            case WriteWhole():
                return _write(s)
            case HandOver(to_game):
                return _hand_over(s, not s.to_game if to_game is None else to_game)
            case ev.GoOpen(task):
                return s, (fx.Instead(task, WatchFacts(game_plays=s.game_has) if task == "watch" else None),)
            case ev.MapChanged(words):
                return _board(replace(_of_map(s), stage=SyncStage.AWAITING, message=words))
            case _:
                return None

    def light(self, s: Sync) -> Light:
        """Dark, or the game's: never while a table is written."""
        if s.hands_off:
            return HandsOff()
        return Game() if s.to_game and s.stage is not SyncStage.WRITING else Dark()

    def view(self, s: Sync) -> TaskView:
        """Map and board side by side, and what differs."""
        return TaskView(
            head=f"{s.map.machine.name} · the board's lamp table",
            board=s.board.words,
            details=tuple(_lines(s)),
            long=True,
            message=s.message or s.board.refused,
            unsaved=s.unsaved,
        )


_IDLE = (SyncStage.COMPARED, SyncStage.FAILED)
_TAGS = frozenset({"table", "table-bytes", "table-write"})


def make(opened: Opened) -> tuple[BoardTask, Sync]:
    """The table of the open map."""
    assert opened.map is not None, "the board's table is opened with a map"
    facts = opened.facts if isinstance(opened.facts, BoardFacts) else BoardFacts()
    return BoardTask(), replace(start(opened.map), hands_off=facts.hands_off)


def start(map_: PlayfieldMap) -> Sync:
    """The state before a board is there."""
    return _of_map(Sync(map=map_))


def _of_map(s: Sync) -> Sync:
    try:
        return replace(s, ours=board_table(s.map), problem="")
    except TableTooLargeError as exc:
        return replace(s, ours=None, problem=str(exc))


# -- reading -------------------------------------------------------------------------------------------------------


def _board(s: Sync) -> _N:
    """The board came, went, or reported who has the pixels."""
    if not s.board.here:
        if s.stage is SyncStage.AWAITING:
            return s, ()
        words = "the board was lost while writing: it keeps its old table" if s.stage is SyncStage.WRITING else ""
        gone = replace(s, stage=SyncStage.AWAITING, held=None, theirs=None, play=None, differences=(), image=b"")
        return replace(gone, handing=s.to_game, written=False, message=words), ()
    if s.stage is SyncStage.AWAITING:
        if not s.board.has("table"):
            words = "this board's firmware has no memory for a table: export the table and compile it in"
            return replace(s, stage=SyncStage.LACKING, message=words), ()
        return _read(s)
    return _handed_over(s)


def _read(s: Sync) -> _N:
    orders = (ReadTableState(), *((Play(),) if s.board.has("play") else ()))
    reading = replace(s, stage=SyncStage.READING, image=b"", done=0, total=0, message="")
    return reading, (fx.Ask(orders, "table", "asking for the board's table"),)


def _answered(s: Sync, tag: str, replies: tuple[Reply, ...]) -> _N:
    match tag, s.stage:
        case "table", SyncStage.READING:
            held = next(reply for reply in replies if isinstance(reply, TableState))
            play = next((reply for reply in replies if isinstance(reply, PlayState)), None)
            s = replace(s, held=held, play=play, total=len(table_read_orders(held.length)))
            return _read_on(s) if held.length else _compared(replace(s, theirs=None))
        case "table-bytes", SyncStage.READING:
            image = s.image + b"".join(reply.data for reply in replies if isinstance(reply, TableBytes))
            s = replace(s, image=image, done=s.done + len(replies))
            return _read_on(s) if s.done < s.total else _compared(s)
        case "table-write", SyncStage.WRITING:
            s = replace(s, done=s.done + len(replies))
            return _write_on(s) if s.done < s.total else _read(replace(s, written=True))
        case _:
            return s, ()


def _read_on(s: Sync) -> _N:
    assert s.held is not None
    return s, (_ask_piece(s, table_read_orders(s.held.length), "table-bytes", "reading the board's table"),)


def _ask_piece(s: Sync, orders: list[Order], tag: str, words: str) -> fx.Ask:
    """The next orders of a long question."""
    return fx.Ask(tuple(orders[s.done : s.done + PIECES_AT_ONCE]), tag, words, before=s.done, of=s.total)


def _compared(s: Sync) -> _N:
    held = s.held
    assert held is not None
    if held.length and (len(s.image), crc16(s.image)) != (held.length, held.crc):
        words = "what was read has another checksum than the board states: read it again"
        return replace(s, stage=SyncStage.FAILED, theirs=None, differences=(), message=words), (fx.Bell(),)
    try:
        theirs = decode_table(s.image) if s.image else BoardLampTable()
    except TableFormatError as exc:
        words = f"the board's table cannot be read ({exc}): write it anew"
        return replace(s, stage=SyncStage.COMPARED, theirs=None, differences=(words,), message=words), ()
    unlike = differences(s.ours, theirs) if s.ours is not None else ()
    s = replace(s, stage=SyncStage.COMPARED, theirs=theirs, differences=unlike)
    if s.same:
        words = "written, read back, the same" if s.written else "board and map hold the same table"
    elif not held.length:
        words = "the board holds no table yet"
    elif unlike:
        words = f"the tables differ in {many(len(unlike), 'point')}"
    else:
        words = "they light the same; the board's table has another revision or order"
    failed = s.written and not s.same
    if failed:
        words = f"written, but {words}: write again"
    noted = (fx.NoteTable(held.crc),) if held.length else ()
    return replace(s, message=words, written=False), (*noted, fx.Bell()) if failed else noted


# -- writing -------------------------------------------------------------------------------------------------------


def _write(s: Sync) -> _N:
    if not (s.board.here and s.stage in _IDLE):
        words = s.message if s.stage is SyncStage.LACKING else f"{s.stage.value}: one moment"
        return replace(s, message=words), (fx.Bell(),)
    if why := obstacle(s):
        return replace(s, message=why), (fx.Bell(),)
    assert s.ours is not None
    if s.same:
        return replace(s, message="board and map hold the same table already: nothing to write"), ()
    total = len(table_orders(s.ours.image, s.ours.revision))
    return _write_on(replace(s, stage=SyncStage.WRITING, done=0, total=total, restarts=0, message=""))


def _write_on(s: Sync) -> _N:
    assert s.ours is not None
    return s, (_ask_piece(s, table_orders(s.ours.image, s.ours.revision), "table-write", "writing the table"),)


def obstacle(s: Sync) -> str:
    """Why our table cannot go into this board, in words; empty if nothing is known against it."""
    ours, held, play = s.ours, s.held, s.play
    if ours is None:
        return s.problem
    if not ours.table.outputs:
        return "the map has no chain with pixels yet: there is no table to write"
    if held is not None and len(ours.image) > held.capacity:
        return f"the table takes {len(ours.image)} bytes, the board has room for {held.capacity}: use fewer colours or levels"
    outputs = s.board.identity.outputs if s.board.identity is not None else 16
    beyond = next((record.output for record in ours.table.outputs if record.output >= outputs), None)
    if beyond is not None:
        return f"the map has a chain on output {beyond}, the board has outputs 0 to {outputs - 1}"
    if play is None:
        return ""
    lamps = ours.table.lamps()
    if lamps and lamps[-1] > play.lamps:
        return f"the map has lamp {lamps[-1]}, the board keeps lamps up to {play.lamps}: build it with more"
    groups = ours.table.groups()
    if groups and groups[-1] >= play.groups:
        return f"the map has {groups[-1] + 1} groups, the board keeps {play.groups}: join some, or build it with more"
    for record in ours.table.outputs:
        room = play.pixels if len(record.byte_order) == 3 else play.pixels * 3 // 4
        last = max((entry.pixel for entry in ours.table.entries if entry.output == record.output), default=-1)
        if last >= room:
            words = f"the table names pixel {last} of output {record.output}, the board lights 0 to {room - 1} there"
            return f"{words} for the game: build it for more pixels"
    return ""


def _not_answered(s: Sync, event: ev.NotAnswered) -> _N:
    if s.stage not in (SyncStage.READING, SyncStage.WRITING):
        return s, ()
    forgot = event.code in (ErrorCode.INCOMPLETE, ErrorCode.OUT_OF_STEP)
    if s.stage is SyncStage.WRITING and forgot and s.done and s.restarts < MOST_RESTARTS:
        # the board forgot what was staged, as after a restart that nobody heard of: from the beginning, once
        return _write_on(replace(s, done=0, restarts=s.restarts + 1))
    words = f"not written: {event.why}. The board keeps its old table" if s.stage is SyncStage.WRITING else event.why
    return replace(s, stage=SyncStage.FAILED, theirs=None, message=words, written=False), (fx.Bell(),)


# -- who has the pixels --------------------------------------------------------------------------------------------


def _hand_over(s: Sync, to_game: bool) -> _N:
    if s.play is None or not s.board.here:
        return replace(s, message="this board lights no lamps of the game by itself"), (fx.Bell(),)
    s, again = replace(s, to_game=to_game, handing=True, message=""), bool(s.board.refused)
    return (s, (fx.TryAgain(),)) if again else _handed_over(s)


def _handed_over(s: Sync) -> _N:
    """Who has the pixels is announced once the board has confirmed it; a hand-over that it refuses is over."""
    if s.to_game and s.board.refused:
        return replace(s, to_game=False, handing=False, message=s.board.refused), ()
    if s.handing and s.board.lit == (Game() if s.to_game else Dark()):
        return replace(s, handing=False, message=f"{_player(s)} has the pixels"), ()
    return s, ()


def _player(s: Sync) -> str:
    return "the game" if s.game_has else "this program"


# -- what is to be seen --------------------------------------------------------------------------------------------


def _lines(s: Sync) -> list[Line]:
    lines = [Line("")]
    if s.ours is None:
        lines.append(Line(f"  Map    {s.problem}"))
    else:
        what = f"{many(len(s.ours.table.lamps()), 'lamp')}, {many(len(s.ours.table.groups()), 'group')}"
        size = f"{many(len(s.ours.table.entries), 'pixel')} · {len(s.ours.image)} bytes, checksum {s.ours.crc:04X}"
        lines.append(Line(f"  Map    revision {s.ours.revision} · {what}, {size}"))
    held = s.held
    if held is None:
        lines.append(Line(f"  Board  {s.stage.value}"))
    elif not held.length:
        lines.append(Line(f"  Board  no table · room for {held.capacity} bytes"))
    else:
        theirs = s.theirs
        what = (
            f"{many(len(theirs.lamps()), 'lamp')}, {many(len(theirs.groups()), 'group')}"
            if theirs is not None
            else "not read yet"
        )
        size = f"{held.length} bytes of {held.capacity}, checksum {held.crc:04X}"
        lines.append(Line(f"  Board  revision {held.revision} · {what} · {size}"))
    lines.append(Line(""))
    if s.stage is SyncStage.WRITING:
        filled = 30 * s.done // max(1, s.total)
        lines.append(Line(f"  writing  {'#' * filled}{'.' * (30 - filled)}  {s.done} of {s.total} orders"))
        lines.append(Line("  The board keeps its old table until the new one is whole."))
    elif s.same:
        lines.append(Line("  = THE SAME: the board holds exactly this table", "bold"))
    elif s.stage is SyncStage.COMPARED and held is not None and held.length:
        lines.append(Line(f"  ≠ {many(len(s.differences), 'difference')}", "bold"))
        lines += [Line(f"    {line}") for line in s.differences]
    elif why := obstacle(s) if s.stage is SyncStage.COMPARED else "":
        lines.append(Line(f"  {why}"))
    if s.play is not None:
        lines += [Line(""), Line(f"  The pixels are lit by {_player(s)}.")]
    return lines
