"""The board died: from a new one to a proved machine in five steps, from the map alone.

What the firmware has to be built with, one pixel first, the table, the ceiling, the proof. Each step names its figures, says
whether the board that is there agrees, and opens the task that does it; the one pixel is lit here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from device_protocol.values import Colour
from probe.cautions import Moment, cautions
from probe.document.board_table import TableTooLargeError, board_table
from probe.document.lamp_table import lamp_table
from probe.document.local_time import local_date
from probe.document.model import Chain, PixelState, PlayfieldMap, shown_number
from probe.document.plural import many
from probe.document.proving import tally
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.command import Command, Means, rows_by_digit
from probe.task.light import AsBelow, Light, Pixels
from probe.task.screen import ReadOn
from probe.task.task import BoardView, CannotOpenError, Next, Opened, Task, TaskState
from probe.task.views import Line, TaskView

TABLE_HEAD_BYTES = 12
"""What each of the two copies in a board's memory takes beside the image (firmware, board_config.h)."""


@dataclass(frozen=True)
class BuildOption:
    """A line of `board_config.h`: its value from the map, and why. `stated`: the key under which a board states its own.

    `is_limit`: the board's figure must not be larger; else not smaller.
    """

    name: str
    value: int
    why: str
    stated: str = ""
    is_limit: bool = False

    def of_board(self, board: BoardView) -> int | None:
        """The board's own figure, if one is there that states it."""
        return getattr(board.identity, self.stated) if self.stated and board.identity is not None else None

    def agrees(self, board: BoardView) -> bool | None:
        """Whether the board that is there will do; None: it does not say."""
        has = self.of_board(board)
        if has is None:
            return None
        return has <= self.value if self.is_limit else has >= self.value


_LIGHT_ONE = "Light one pixel"
_DATES = 4
"""So many evenings of proofs are named."""
_IS_IT_LIT = "does it light? Enter: yes; F2: no"


def build_options(map_: PlayfieldMap) -> tuple[BuildOption, ...]:
    """What a firmware for this map is built with."""
    return tuple(_options(map_))


def _options(map_: PlayfieldMap) -> Iterator[BuildOption]:
    chains = [chain for chain in map_.chains if chain.length]
    if not chains:
        return
    outputs = max(chain.output for chain in chains) + 1
    yield BuildOption("PP_OUTPUTS", outputs, "outputs that chains are on", "outputs")
    longest = max(chains, key=lambda chain: chain.length)
    yield BuildOption("PP_PIXELS", longest.length, f"the longest chain, {longest.name}", "pixels")
    highest = max(chain.ceiling_ma for chain in chains)
    yield BuildOption(
        "PP_CEILING_MA",
        highest,
        "the highest ceiling of a chain: what its supply, fuse and wire can feed",
        "ceiling_ma",
        is_limit=True,
    )
    table = lamp_table(map_)
    if not (table.lamps or table.groups):
        return
    if table.lamps:
        yield BuildOption("PP_LAMPS", max(row.number for row in table.lamps), "the highest lamp number")
    if table.groups:
        yield BuildOption("PP_GROUPS", len(table.groups), "groups of places")
    lit = max(chain.length for chain in chains)
    yield BuildOption("PP_PLAY_PIXELS", lit, "pixels that the game can light on an output; fewer if memory is short")
    try:
        size = len(board_table(map_).image)
    except TableTooLargeError:
        return
    yield BuildOption(
        "PP_STORE_BYTES", 2 * (size + TABLE_HEAD_BYTES), f"two copies of the table, {many(size, 'byte')} each"
    )


@dataclass(frozen=True)
class RestoreStep:
    """A step: what is done, by which task, and lines about it. `done` None: nobody but the person knows."""

    words: str
    task: str
    lines: tuple[str, ...]
    done: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Restoring(TaskState):
    """The state. `began`: time of day; proofs before it were of the old board. `lit`: the one pixel is lit, and asked about;
    `seen`: it was seen. `level`: how brightly it is lit, of 255.
    """

    began: str = ""
    chosen: int = 0
    lit: bool = False
    seen: bool = False
    level: int = 32

    @property
    def first(self) -> tuple[Chain, int]:
        """The pixel that is lit first: the one nearest to the board that lights a place; of a chain without, its first."""
        for chain in self.map.chains:
            for number, pixel in enumerate(chain.pixels):
                if pixel.state is PixelState.PLACED:
                    return chain, number
        return self.map.chains[0], 0

    @property
    def steps(self) -> tuple[RestoreStep, ...]:
        """The steps, with what the map and the board say of them now."""
        return tuple(_steps(self))


def _steps(s: Restoring) -> Iterator[RestoreStep]:
    options = build_options(s.map)
    lines = []
    agrees = [option.agrees(s.board) for option in options]
    for option, fits in zip(options, agrees, strict=True):
        has = option.of_board(s.board)
        board = "" if has is None else f"; this board: {has} {'✓' if fits else '✗ build it anew'}"
        lines.append(f"  {option.name} {option.value}   {option.why}{board}")
    known = [fits for fits in agrees if fits is not None]
    kinds = "; ".join(
        f"{c.name}: output {c.output}, {many(c.length, 'pixel')} {c.chip}, {c.order}" for c in s.map.chains
    )
    yield RestoreStep(
        "Build the firmware and upload it",
        "",
        (
            "Power off, unplugged, while the board is changed. In the firmware's board_config.h:",
            *lines,
            f"Chains, which the map sets up itself: {kinds}",
        ),
        done=all(known) if known else None,
    )
    chain, number = s.first
    place = s.map.place_of(chain.pixels[number]) if number < chain.length else None
    named = f"{chain.name} {shown_number(number)}" + (f", {place.label}," if place is not None else "")
    yield RestoreStep(
        _LIGHT_ONE,
        "",
        (
            *(caution.text for caution in cautions(Moment.POWERING)),
            "Join ground first, then plus, then data.",
            f"{named} has to light, dim and white.",
        ),
        done=True if s.seen and s.board.here else None,
    )
    rows = lamp_table(s.map)
    yield RestoreStep(
        "Put the table into the board",
        "board",
        (f"{many(len(rows.lamps), 'lamp')} and {many(len(rows.groups), 'group')}; it is read back and compared.",),
        done=_has_table(s),
    )
    ceilings = (f"{c.name}: {c.ceiling_ma} mA" for c in s.map.chains)
    board_ma = s.board.identity.ceiling_ma if s.board.identity is not None else None
    limit = max((c.ceiling_ma for c in s.map.chains), default=0)
    words = (
        "No board is there that says its own ceiling."
        if board_ma is None
        else f"The board's own is {board_ma} mA for each output"
        + (": build it lower, or a fault of the host is held by fuses only." if board_ma > limit else ".")
    )
    yield RestoreStep(
        "Check the ceiling against supply, fuse and wire",
        "power",
        (", ".join(ceilings), words),
        done=None if board_ma is None else board_ma <= limit,
    )
    since = sum(proof.time >= s.began and proof.by_table for proof in s.map.proofs)
    times = sorted(proof.time for proof in s.map.proofs if proof.by_table and proof.time < s.began)
    before = Counter(map(local_date, times))  # in the order of time
    dates = ", ".join(f"{count} on {date}" for date, count in [*before.items()][-_DATES:])
    total = tally(s.map).total
    yield RestoreStep(
        "Prove every lamp by the board's own table",
        "prove",
        (
            f"{since} of {total} proved by the table since this was opened.",
            *((f"Before: {dates}. Those from before the board died do not count.",) if dates else ()),
        ),
        done=since >= total if total else None,
    )


def _has_table(s: Restoring) -> bool | None:
    """Whether the board's table is of the map's revision; None: it does not say, or the map has none."""
    if s.board.identity is None or not s.board.has("table"):
        return None
    try:
        return s.board.identity.table == board_table(s.map).revision
    except TableTooLargeError:
        return None


@dataclass(frozen=True)
class NotLit:
    """The one pixel does not light."""


COMMANDS = (
    Command("restore.take", Means.DO, "Do this step", ev.Take(), shown=True, when=lambda s: s is None or not s.lit),
    Command("restore.seen", Means.DO, "It lights", ev.Take(), shown=True, when=lambda s: s is None or s.lit),
    Command("restore.dark", Means.NO, "It does not light: find the fault", NotLit(), shown=True, when=lambda s: s is None or s.lit, short="It does not"),
    Command("restore.choose.1", Means.DOWN, "Next step", ev.Choose(1)),
    Command("restore.choose.-1", Means.UP, "Step before", ev.Choose(-1)),
    Command("restore.read.1", Means.ONWARD, "Read on", ReadOn(1)),
    Command("restore.read.-1", Means.BEFORE, "Read back", ReadOn(-1)),
    *rows_by_digit("restore", 5, lambda s: True),
    Command("restore.retry", Means.AGAIN, "Save and light again", ev.Retry()),
    Command("restore.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)  # fmt: skip
_SIGNS = {True: "✓", False: "☐", None: "·"}


class RestoreTask(Task[Restoring]):
    """Five steps, each opened from here; back to here after each."""

    name = "restore"
    commands = COMMANDS
    own_revision = False
    read_first = Moment.OPENING

    def step(self, s: Restoring, event: object, now_s: float) -> Next[Restoring] | None:
        """The state after an event, and what is to be done."""
        count = len(s.steps)
        match event:
            case ev.Choose(by):
                return replace(s, chosen=max(0, min(count - 1, s.chosen + by)), lit=False, message=""), ()
            case ev.TakeRow(row) if row < count:
                return _open(replace(s, chosen=row, lit=False))
            case ev.Take() if s.lit:
                return replace(s, chosen=s.chosen + 1, lit=False, seen=True, message=""), ()
            case NotLit() if s.lit:
                chain, number = s.first
                return replace(s, lit=False, seen=False), (fx.Open("faults", (chain.id, number)),)
            case ev.Take():
                return _open(s)
            case ev.TaskClosed():
                on = s.steps[s.chosen].done is not False and s.steps[s.chosen].words != _LIGHT_ONE
                return replace(s, chosen=min(count - 1, s.chosen + on), message=""), ()
            case _:
                return None

    def light(self, s: Restoring) -> Light:
        """What is lit stays, but while the one pixel is asked about."""
        if not s.lit:
            return AsBelow()
        chain, number = s.first
        return Pixels.one(chain.output, number, Colour(s.level, s.level, s.level))

    def view(self, s: Restoring) -> TaskView:
        """The steps, and all of the one in hand."""
        steps = s.steps
        here = steps[s.chosen]
        return TaskView(
            head=f"{s.map.machine.name} · a new board",
            board=s.board.words,
            above=(Line("From a new board to a proved machine  (✓ done, ☐ to do, · only you know):", "bold"),),
            items=tuple(Line(f"{_SIGNS[step.done]} {n}  {step.words}") for n, step in enumerate(steps, 1)),
            chosen=s.chosen,
            details=(Line(here.words, "bold"), *(Line(line, wrap=True) for line in here.lines)),
            long=True,
            message=s.board.refused if s.lit and s.board.refused else s.message or s.board.refused,
            unsaved=s.unsaved,
        )

    def where(self, s: Restoring) -> object:
        """The step in hand."""
        return s.chosen


def _open(s: Restoring) -> Next[Restoring]:
    step = s.steps[s.chosen]
    s = replace(s, message="")
    if step.task:
        return s, (fx.Open(step.task, (s.map.chains[0].id, 0)),)
    if step.words == _LIGHT_ONE:
        if not s.board.here:
            return replace(s, message=s.board.trouble or "no board: plug it in, or pick its port"), (fx.Bell(),)
        chain, number = s.first
        return replace(s, lit=True, message=f"{chain.name} {shown_number(number)}: {_IS_IT_LIT}"), ()
    return replace(s, message="this is done at the desk; the sign says whether the board that is there agrees"), ()


def make(opened: Opened) -> tuple[RestoreTask, Restoring]:
    """From the first step on. Raises CannotOpenError for a map without chains."""
    assert opened.map is not None, "a board is restored with a map"
    if not opened.map.chains:
        raise CannotOpenError("this map has no chain yet: there is nothing to restore")
    return RestoreTask(), Restoring(map=opened.map, began=opened.now, level=opened.level)
