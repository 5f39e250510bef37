"""Putting the map's table into a board: read, compare, write, read back. A frozen state and a pure step.

The board takes a new table only whole (SPEC 5.17): what is written first is staged beside the table in force, and
`commit` makes it the one in force after the board has read it back by its checksum. Then it is read once more here.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum

from device_protocol.errors import ErrorCode
from device_protocol.framing import crc16
from device_protocol.lamp_table import BoardLampTable, TableFormatError, decode_table
from device_protocol.orders import (
    Identity,
    Play,
    Player,
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
from probe.task.steps import (
    Answered,
    BoardGone,
    BoardHere,
    BoardView,
    Effect,
    GiveOrders,
    NotAnswered,
    RingBell,
    board_view,
)

PIECES_AT_ONCE = 8
"""Orders between two looks at how far it has come."""


class Stage(Enum):
    """What is going on."""

    AWAITING = "waiting for a board"
    LACKING = "this board keeps no table"
    READING = "reading the board's table"
    COMPARED = "compared"
    WRITING = "writing"
    FAILED = "not done"


@dataclass(frozen=True)
class Compare:
    """Read the board's table anew and compare."""


@dataclass(frozen=True)
class Write:
    """Write the map's table, then read it back."""


@dataclass(frozen=True)
class HandOver:
    """Let the game have the pixels, or take them back."""

    to_game: bool = True


@dataclass(frozen=True)
class Sync:
    """The state. `ours` is None where the map makes no table, and `problem` says why.

    `held` is what the board said of its table, `theirs` that table read; both None until known. `done` and `total` count
    orders of what is under way.
    """

    map: PlayfieldMap
    ours: BoardTable | None = None
    problem: str = ""
    board: BoardView = field(default_factory=BoardView)
    stage: Stage = Stage.AWAITING
    held: TableState | None = None
    theirs: BoardLampTable | None = None
    differences: tuple[str, ...] = ()
    play: PlayState | None = None
    done: int = 0
    total: int = 0
    image: bytes = b""
    message: str = ""
    written: bool = False

    @property
    def same(self) -> bool:
        """Whether the board holds exactly our table, revision included."""
        return (
            self.stage is Stage.COMPARED
            and self.ours is not None
            and self.held is not None
            and (self.held.revision, self.held.length, self.held.crc)
            == (self.ours.revision, len(self.ours.image), self.ours.crc)
            and self.image == self.ours.image
        )


Key = Compare | Write | HandOver


def start(m: PlayfieldMap) -> Sync:
    """The state before a board is there."""
    try:
        return Sync(m, board_table(m))
    except TableTooLargeError as exc:
        return Sync(m, None, str(exc))


def step(sync: Sync, given: object, now_s: float) -> tuple[Sync, tuple[Effect, ...]]:
    """The state after a key or some news, and what is to be done."""
    del now_s
    match given:
        case BoardHere(identity):
            sync = replace(sync, board=board_view(sync.board, given), held=None, theirs=None, play=None, written=False)
            if not identity.has("table"):
                words = "this board's firmware has no memory for a table: export the table and compile it in"
                return replace(sync, stage=Stage.LACKING, message=words), ()
            return _read(sync)
        case BoardGone():
            view = board_view(sync.board, given)
            interrupted = sync.stage is Stage.WRITING
            words = "the board was lost while writing: it keeps its old table" if interrupted else ""
            return replace(sync, board=view, stage=Stage.AWAITING, held=None, theirs=None, message=words), ()
        case Answered(tag, replies):
            return _answered(sync, tag, replies)
        case NotAnswered() if given.tag in _TAGS:
            return _refused(sync, given)
        case Compare():
            return _read(sync) if _ready(sync) else (sync, ())
        case Write():
            return _write(sync)
        case HandOver(to_game):
            return _hand_over(sync, to_game)
        case _:
            return replace(sync, board=board_view(sync.board, given)), ()  # type: ignore[arg-type]


_TAGS = frozenset({"table", "table-bytes", "table-write", "table-play"})


def _ready(sync: Sync) -> bool:
    return sync.board.here and sync.stage in (Stage.COMPARED, Stage.FAILED)


def _identity(sync: Sync) -> Identity:
    assert sync.board.identity is not None
    return sync.board.identity


def _read(sync: Sync) -> tuple[Sync, tuple[Effect, ...]]:
    orders = (ReadTableState(), *((Play(),) if _identity(sync).has("play") else ()))
    return replace(sync, stage=Stage.READING, done=0, total=0, message=""), (GiveOrders(orders, "table"),)


def _answered(sync: Sync, tag: str, replies: tuple[Reply, ...]) -> tuple[Sync, tuple[Effect, ...]]:
    match tag:
        case "table":
            held = next(reply for reply in replies if isinstance(reply, TableState))
            play = next((reply for reply in replies if isinstance(reply, PlayState)), None)
            sync = replace(sync, held=held, play=play, image=b"", done=0, total=-(-held.length // 64))
            if not held.length:
                return _compared(replace(sync, theirs=None))
            return sync, (GiveOrders(tuple(table_read_orders(held.length)), "table-bytes"),)
        case "table-bytes":
            image = b"".join(reply.data for reply in replies if isinstance(reply, TableBytes))
            return _compared(replace(sync, image=image))
        case "table-write" if sync.stage is Stage.WRITING:
            done = sync.done + len(replies)
            if done < sync.total:
                return _write_on(replace(sync, done=done))
            return _read(replace(sync, done=done, written=True))
        case "table-play":
            play = next((reply for reply in replies if isinstance(reply, PlayState)), None)
            who = "the game" if play is not None and play.player is Player.GAME else "this program"
            return replace(sync, play=play, message=f"{who} has the pixels"), ()
        case _:
            return sync, ()


def _compared(sync: Sync) -> tuple[Sync, tuple[Effect, ...]]:
    held = sync.held
    assert held is not None
    if crc16(sync.image) != held.crc and held.length:
        words = "what was read has another checksum than the board states: read it again"
        return replace(sync, stage=Stage.FAILED, theirs=None, differences=(), message=words), (RingBell(),)
    try:
        theirs = decode_table(sync.image) if sync.image else BoardLampTable()
    except TableFormatError as exc:
        words = f"the board's table cannot be read ({exc}): write it anew"
        return replace(sync, stage=Stage.COMPARED, theirs=None, differences=(words,), message=words), ()
    unlike = differences(sync.ours, theirs) if sync.ours is not None else ()
    sync = replace(sync, stage=Stage.COMPARED, theirs=theirs, differences=unlike)
    if sync.same:
        words = "written, read back, the same" if sync.written else "board and map hold the same table"
    elif not held.length:
        words = "the board holds no table yet"
    elif unlike:
        words = f"the tables differ in {len(unlike)} points"
    else:
        words = "they light the same; the board's table has another revision or order"
    failed = sync.written and not sync.same
    if failed:
        words = f"written, but {words}: write again"
    return replace(sync, message=words, written=False), (RingBell(),) if failed else ()


def _write(sync: Sync) -> tuple[Sync, tuple[Effect, ...]]:
    if not _ready(sync):
        words = sync.message if sync.stage is Stage.LACKING else f"{sync.stage.value}: one moment"
        return replace(sync, message=words), (RingBell(),)
    if why := obstacle(sync):
        return replace(sync, message=why), (RingBell(),)
    assert sync.ours is not None
    if sync.same:
        return replace(sync, message="board and map hold the same table already: nothing to write"), ()
    total = len(table_orders(sync.ours.image, sync.ours.revision))
    return _write_on(replace(sync, stage=Stage.WRITING, done=0, total=total, message=""))


def _write_on(sync: Sync) -> tuple[Sync, tuple[Effect, ...]]:
    assert sync.ours is not None
    orders = table_orders(sync.ours.image, sync.ours.revision)[sync.done : sync.done + PIECES_AT_ONCE]
    return sync, (GiveOrders(tuple(orders), "table-write"),)


def obstacle(sync: Sync) -> str:
    """Why our table cannot go into this board, in words; empty if nothing is known against it."""
    ours, held, play = sync.ours, sync.held, sync.play
    if ours is None:
        return sync.problem
    if not ours.table.outputs:
        return "the map has no chain with pixels yet: there is no table to write"
    if held is not None and len(ours.image) > held.capacity:
        return f"the table takes {len(ours.image)} bytes, the board has room for {held.capacity}: use fewer colours or levels"
    outputs = _identity(sync).outputs if sync.board.here else 16
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


def _refused(sync: Sync, news: NotAnswered) -> tuple[Sync, tuple[Effect, ...]]:
    if news.tag == "table-write" and news.code in (ErrorCode.INCOMPLETE, ErrorCode.OUT_OF_STEP) and sync.done:
        # the board forgot what was staged, as after a restart: from the beginning, once
        return _write_on(replace(sync, done=0))
    words = f"not written: {news.why}. The board keeps its old table" if news.tag == "table-write" else news.why
    stage = sync.stage if news.tag == "table-play" else Stage.FAILED
    return replace(sync, stage=stage, message=words, written=False), (RingBell(),)


def _hand_over(sync: Sync, to_game: bool) -> tuple[Sync, tuple[Effect, ...]]:
    if sync.play is None or not sync.board.here:
        return replace(sync, message="this board lights no lamps of the game by itself"), (RingBell(),)
    player = Player.GAME if to_game else Player.HOST
    return sync, (GiveOrders((Play(player),), "table-play"),)
