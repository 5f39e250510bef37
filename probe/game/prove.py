"""The final check in the game: each lamp and group lit by its number, looked at, and the answer kept with its date.

Where the board holds the map's table the board lights it by that table (so that the table itself is proved); otherwise
the pixels are lit by number from here, and the proof records it. A task: frozen state, pure step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from device_protocol.orders import ReadTableState, TableState
from device_protocol.values import DARK, Colour
from probe.document.board_table import BoardTable, TableTooLargeError, board_table
from probe.document.joining import lamps_lighting
from probe.document.model import Place, PlayfieldMap
from probe.document.model.game import Verdict
from probe.document.operations import folded
from probe.document.proving import Proved, Standing, Tally, add_proof, standings, tally
from probe.game.keys import PROVE, NextLamp, SayVerdict
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import ByTable, Dark, Light, Outputs, Pixels
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import LIT_SIGN, Line, PictureView, Spot, TaskView

ALL_PROVED = "all proved since the last change"
NOTHING_TO_PROVE = "no lamp has a pixel yet: walk the chain"
_ASKED = "prove-table"
_LEAST = Colour(8, 8, 8)
"""A place set to level 0 is shown dimly all the same: dark proves nothing."""


@dataclass(frozen=True)
class GoToLamp:
    """A certain lamp or group, by its place in the order."""

    at: int


@dataclass(frozen=True, kw_only=True)
class Prove(TaskState):
    """The state. `ours` is the map's table, None where it makes none.

    `by_table`: the board lights by its own table; None while that is not known, and nothing is lit then. `asked`: the
    board has been asked for it.
    """

    at: int = 0
    ours: BoardTable | None = None
    by_table: bool | None = None
    asked: bool = False
    table_words: str = ""

    @cached_property
    def rows(self) -> tuple[Proved, ...]:
        """Lamps and groups with pixels."""
        return tuple(row for row in standings(self.map) if row.pixels)

    @property
    def row(self) -> Proved | None:
        """What is asked about."""
        return self.rows[self.at] if self.at < len(self.rows) else None

    @cached_property
    def light(self) -> Light:
        """What belongs to the row."""
        return _light(self)

    @property
    def is_lit(self) -> bool:
        """Whether the board has confirmed that it is lit."""
        return self.board.here and self.light != Dark() and self.board.lit == self.light

    @cached_property
    def tally(self) -> Tally:
        """How much is proved."""
        return tally(self.map)

    @property
    def places(self) -> tuple[Place, ...]:
        """Places that have to light now."""
        row = self.row
        if row is None:
            return ()
        lighting = lamps_lighting(self.map)
        if row.lamp is not None:
            return tuple(place for place in self.map.places if row.lamp in lighting[place.id])
        return tuple(p for p in self.map.places if folded(p.group) == folded(row.group) and not lighting[p.id])


_N = Next[Prove]


class ProveTask(Task[Prove]):
    """Lamp by lamp, then group by group."""

    name = "prove"
    commands = PROVE

    def begin(self, s: Prove, now_s: float) -> _N:
        """Ask for the board's table."""
        return _board(s)

    def step(self, s: Prove, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        match event:
            case NextLamp(by, open_only):
                return _move(s, by, open_only=open_only)
            case GoToLamp(at):
                return _go(s, at)
            case SayVerdict(verdict, time, note):
                return _say(s, verdict, time, note)
            case ev.StepButton(times):
                return _move(s, times)
            case ev.GoOpen(task):
                return s, (fx.Instead(task),)
            case ev.Retry():
                s, effects = _board(replace(s, asked=s.asked and s.by_table is not None, message=""))
                return s, (fx.TryAgain(), *effects)
            case ev.MapChanged(words, where):
                return _board(_changed(s, words, where))
            case ev.BoardChanged():
                return _board(s)
            case ev.Answered(tag="prove-table", replies=(TableState() as held,)):
                return _table_known(s, held), ()
            case ev.NotAnswered(tag="prove-table", why=why, code=code):
                # lost or restarted: it is asked again when the board is back; a refusal stands until Retry
                return replace(s, asked=code is not None, message=why), (fx.Bell(),)
            case _:
                return None

    def light(self, s: Prove) -> Light:
        """The row, by the board's table where it is the map's, else by pixel numbers."""
        return s.light

    def view(self, s: Prove) -> TaskView:
        """Its number and name large, what has to light, and the picture."""
        return _view(s)

    def where(self, s: Prove) -> object:
        """The row that is asked about."""
        return s.at


def make(opened: Opened) -> tuple[ProveTask, Prove]:
    """The final check of the open map."""
    assert opened.map is not None, "the final check is opened with a map"
    return ProveTask(), start(opened.map)


def start(map_: PlayfieldMap) -> Prove:
    """At the first lamp that is not proved."""
    s = _of_map(Prove(map=map_))
    first = next((at for at, row in enumerate(s.rows) if row.state is not Standing.PROVED), 0)
    return replace(s, at=first)


def _of_map(s: Prove) -> Prove:
    try:
        return replace(s, ours=board_table(s.map))
    except TableTooLargeError:
        return replace(s, ours=None)


def _changed(s: Prove, words: str, where: object) -> Prove:
    """After undo or redo: at the row it was about. With another table, the board's is compared with it anew."""
    at = where if isinstance(where, int) else s.at
    after = replace(_of_map(s), at=max(0, min(at, len(s.rows) - 1)), message=words)
    return after if after.ours == s.ours else replace(after, by_table=None, asked=False)


# -- the board's table ---------------------------------------------------------------------------------------------


def _board(s: Prove) -> _N:
    """A board that is here is asked for its table, once."""
    if not s.board.here:
        return replace(s, by_table=None, asked=False), ()
    if s.by_table is not None or s.asked:
        return s, ()
    if s.ours is None or not s.board.has("play"):
        return replace(s, by_table=False, table_words="This board has no table: pixels are lit by number"), ()
    return replace(s, asked=True), (fx.Ask((ReadTableState(),), _ASKED, "asking for the board's table"),)


def _table_known(s: Prove, held: TableState) -> Prove:
    ours = s.ours
    if ours is None or not s.board.here:
        return s
    same = (held.length, held.crc) == (len(ours.image), ours.crc)
    if same:
        words = f"Lit by the board's own table, revision {held.revision}"
    elif held.length:
        words = f"The board's table (revision {held.revision}) is not the map's: write it first. Until then pixels are lit by number."
    else:
        words = "The board holds no table yet: write it first. Until then pixels are lit by number."
    return replace(s, by_table=same, table_words=words)


def _light(s: Prove) -> Light:
    row, identity = s.row, s.board.identity
    if row is None or identity is None or s.by_table is None:
        return Dark()
    if s.by_table and s.ours is not None:
        if row.lamp is not None:
            return ByTable(lamp=row.lamp)
        return ByTable(group=next(n for n, name in enumerate(s.ours.groups) if folded(name) == folded(row.group)))
    numbers: dict[int, dict[int, Colour]] = {}
    for pixel in row.pixels:
        if pixel.output < identity.outputs:
            duty = pixel.duty if not pixel.duty.is_dark else _LEAST
            numbers.setdefault(pixel.output, {})[pixel.number] = duty
    parts = []
    for output, wanted in sorted(numbers.items()):
        first, last = min(wanted), max(wanted)
        parts.append(Pixels(output, first, tuple(wanted.get(n, DARK) for n in range(first, last + 1))))
    return Outputs(tuple(parts)) if parts else Dark()


# -- answers -------------------------------------------------------------------------------------------------------


def _go(s: Prove, at: int) -> _N:
    if not 0 <= at < len(s.rows):
        end = "this is the first" if at < 0 else "this is the last"
        return replace(s, message=end if s.rows else NOTHING_TO_PROVE), (fx.Bell(),)
    return replace(s, at=at, message=""), ()


def _move(s: Prove, by: int, *, open_only: bool = False) -> _N:
    if not open_only:
        return _go(s, s.at + by)
    if not s.rows:
        return _go(s, 0)
    order = [*range(s.at + 1, len(s.rows)), *range(s.at + 1)]
    at = next((at for at in order if s.rows[at].state is not Standing.PROVED), None)
    if at is None:
        return replace(s, message=ALL_PROVED), (fx.Bell(),)
    return _go(s, at)


def _say(s: Prove, verdict: Verdict, time: str, note: str) -> _N:
    row = s.row
    if row is None:
        return replace(s, message=NOTHING_TO_PROVE), (fx.Bell(),)
    if not s.is_lit:
        words = "it is not lit yet: wait for it, then answer" if s.board.here else "no board, so nothing is lit"
        return replace(s, message=s.board.refused or words), (fx.Bell(),)
    map_ = add_proof(s.map, row, verdict, time=time, by_table=bool(s.by_table), note=note)
    words = f"{row.title}: {verdict.value}"
    commit = fx.Commit(map_, words)
    answered = replace(s, map=map_, message="")
    if all(other.state is Standing.PROVED for other in answered.rows):
        return replace(answered, message=ALL_PROVED), (commit, fx.Bell())
    if verdict is Verdict.RIGHT:
        moved, effects = _move(answered, 1, open_only=True)
    else:
        moved, effects = _go(answered, min(answered.at + 1, len(answered.rows) - 1))
    return replace(moved, message=words), (commit, *effects)


# -- what is to be seen --------------------------------------------------------------------------------------------

_SIGNS = {
    Standing.PROVED: "=",
    Standing.CHANGED: "~",
    Standing.WRONG: "x",
    Standing.UNSEEN: "?",
    Standing.NEVER: ".",
}
_CHECKLIST = "Afterwards play it: attract, each feature, tilt, game over, match, extra ball."


def _view(s: Prove) -> TaskView:
    row = s.row
    if row is None:
        above: tuple[Line, ...] = (Line("No lamp and no group has a pixel yet: walk the chain first."),)
    else:
        kind = "lamp" if row.lamp is not None else "group"
        state = "● LIT" if s.is_lit else "○ not lit yet" if s.board.here else "○ no board"
        where = f"{s.at + 1} of {len(s.rows)}"
        above = (
            Line(f"{kind} {row.title}", "bold"),
            Line(f"{state}   {where}   {_SIGNS[row.state]} {row.state.value}", "bold"),
        )
    spots = tuple(
        Spot(place.position, LIT_SIGN, "lit", place.label) for place in s.places if place.position is not None
    )
    return TaskView(
        head=f"{s.map.machine.name} · proof in the game",
        board=s.board.words,
        number=row.lamp if row is not None else None,
        lit=s.is_lit,
        above=above,
        details=_places(s),
        long=True,
        below=() if row is None else (Line(s.table_words, "dim", wrap=True), Line(_CHECKLIST, "dim", wrap=True)),
        message=s.message or s.board.refused,
        unsaved=s.unsaved,
        progress=f" {s.tally.words}",
        picture=PictureView(spots),
    )


def _places(s: Prove) -> tuple[Line, ...]:
    places = s.places
    if s.row is None:
        return ()
    many = f" ({len(places)} places)" if len(places) > 1 else ""
    lines = [Line(f"It has to light{many}, and nothing else:", "bold")]
    for place in places:
        pixels = " ".join(str(number) for _, number in s.map.pixels_at.get(place.id, ())) or "no pixel"
        area = f"· {place.area} " if place.area else ""
        lines.append(Line(f"  {place.label}", note=f"{area}(pixel {pixels})"))
    return tuple(lines)
