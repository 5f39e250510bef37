"""The shapes a playfield is drawn with: moved, resized, added and taken out, from the neutral field on. A task.

A list of shapes, the fields of the one in hand, and a mark of its own: while it is moved with the arrows it is drawn where it
would be, and Enter puts it there. Every change is one undo. Nothing is lit: what was lit below stays.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum, auto
from itertools import pairwise

from pydantic import ValidationError

from probe.document.model import PlayfieldMap, Position
from probe.document.model.record import storable
from probe.document.model.shape import DRAWN_BY_POINTS, Point, Shape, ShapeKind
from probe.lighting.lengths import LengthError, parse_length
from probe.playfield.field import neutral_field, shapes_of
from probe.playfield.strokes import extent_of, strokes_of
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.command import Command, Means, change_rows
from probe.task.light import AsBelow, Light
from probe.task.screen import FlipPicture, NextZoom
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, PictureView, TaskView

STEPS_MM = (1.0, 5.0, 25.0)
TURN_STEP_DEG = 5.0
NEAR_MM = 60.0
"""How far from a shape's lines a click still means that shape."""
_BEGINS: tuple[Point, Point] = ((0.0, 0.0), (0.0, 100.0))
"""A new wall or ramp: a straight line to begin with."""
_LABELS = {"x_mm": "from the left", "y_mm": "from the near edge", "turn_deg": "turned to the left"}


class ShapesStage(Enum):
    """What is asked: which shape, which of its fields, where it goes, or which kind to add."""

    LIST = auto()
    FIELDS = auto()
    MOVE = auto()
    ADD = auto()


@dataclass(frozen=True)
class ClickShape:
    """A point of the picture, in mm: the shape there is picked, or the one in hand goes there."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class AddShape:
    """Add a shape; in a wall or ramp, a point."""


@dataclass(frozen=True)
class TakeOutShape:
    """Take out the shape in hand; in a wall or ramp, the point in hand."""


@dataclass(frozen=True)
class StepField:
    """The value of the field in hand, a step up or down."""

    by: int


@dataclass(frozen=True)
class StepLength:
    """How far an arrow moves."""

    by: int


@dataclass(frozen=True)
class Neutral:
    """Back to the neutral field of the machine's size."""


def _moves(s: ShapesState) -> bool:
    return s.stage is ShapesStage.MOVE


def _stands(s: ShapesState) -> bool:
    return not _moves(s)


def _fields(s: ShapesState) -> bool:
    return s.stage is ShapesStage.FIELDS


def _lists(s: ShapesState) -> bool:
    return s.stage is ShapesStage.LIST


COMMANDS = (
    Command("shapes.take", Means.DO, "Change", ev.Take(), shown=True),
    Command("shapes.choose.1", Means.DOWN, "Next row", ev.Choose(1), when=_stands),
    Command("shapes.choose.-1", Means.UP, "Row before", ev.Choose(-1), when=_stands),
    Command("shapes.go.up", Means.UP, "Move up", ev.GoTowards(0, 1), when=_moves),
    Command("shapes.go.down", Means.DOWN, "Move down", ev.GoTowards(0, -1), when=_moves),
    Command("shapes.go.left", Means.LEFT, "Move left", ev.GoTowards(-1, 0), when=_moves),
    Command("shapes.go.right", Means.RIGHT, "Move right", ev.GoTowards(1, 0), when=_moves),
    Command("shapes.step.1", Means.RIGHT, "A step up", StepField(1), when=_fields),
    Command("shapes.step.-1", Means.LEFT, "A step down", StepField(-1), when=_fields),
    Command(
        "shapes.length.1", Means.MORE, "Longer steps", StepLength(1), shown=True, when=_moves, letter="l", stays=True
    ),
    Command("shapes.length.-1", Means.MORE, "Shorter steps", StepLength(-1), when=_moves, letter="s", stays=True),
    Command("shapes.add", Means.ADD, "Add", AddShape(), shown=True, when=_stands),
    Command("shapes.take_out", Means.TAKE_OUT, "Take out", TakeOutShape(), shown=True, when=_stands),
    Command("shapes.neutral", Means.MORE, "The neutral field", Neutral(), when=_lists, letter="n"),
    Command("shapes.flip", Means.PICTURE, "Picture from above or below", FlipPicture(), letter="b"),
    Command("shapes.zoom", Means.PICTURE, "Whole, half, area", NextZoom(), letter="z", stays=True),
    *change_rows("shapes"),
    Command("shapes.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)


@dataclass(frozen=True)
class ShapeField:
    """A field of a shape: its name (`points.0` is the first point), its label, and its value as text."""

    name: str
    label: str
    value: str


@dataclass(frozen=True, kw_only=True)
class ShapesState(TaskState):
    """`chosen`: the shape in hand, `field` the field of it, `kind` the kind that would be added. `moved`: the shape in hand
    as it would be, while it is moved; `fresh`: it is not in the map yet. `typed`: a value being typed."""

    stage: ShapesStage = ShapesStage.LIST
    chosen: int = 0
    field: int = 0
    kind: int = 0
    moved: Shape | None = None
    fresh: bool = False
    typed: str | None = None
    step: int = 1

    @property
    def shapes(self) -> tuple[Shape, ...]:
        """The shapes of the map; those of the neutral field while it has none."""
        return shapes_of(self.map)

    @property
    def shape(self) -> Shape:
        """The shape in hand, as it is drawn."""
        return self.moved if self.moved is not None else self.shapes[min(self.chosen, len(self.shapes) - 1)]

    @property
    def drawn(self) -> tuple[Shape, ...]:
        """All shapes as they are drawn."""
        if self.moved is None:
            return self.shapes
        if self.fresh:
            return (*self.shapes, self.moved)
        return tuple(self.moved if n == self.chosen else shape for n, shape in enumerate(self.shapes))


class ShapesTask(Task[ShapesState]):
    """The playfield's shapes."""

    name = "shapes"
    commands = COMMANDS

    def step(self, s: ShapesState, event: object, now_s: float) -> Next[ShapesState] | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Typed(text) if s.typed is not None:
                return replace(s, typed=text, message=""), ()
            case ev.Choose(by):
                return _choose(s, by), ()
            case ev.GoTowards(across, up, from_below) if s.moved is not None:
                return _nudged(s, -across if from_below else across, up), ()
            case StepLength(by):
                step = max(0, min(len(STEPS_MM) - 1, s.step + by))
                return replace(s, step=step, message=f"an arrow moves it {STEPS_MM[step]:g} mm"), ()
            case ClickShape(x_mm, y_mm):
                return _click(s, x_mm, y_mm)
            case ev.Take():
                return _take(s)
            case StepField(by) if s.stage is ShapesStage.FIELDS and s.typed is None:
                return _step_field(s, by)
            case AddShape():
                return _add(s)
            case TakeOutShape():
                return _take_out(s)
            case Neutral():
                return _put(s, (), "the neutral field") if s.map.shapes else (replace(s, message="it is that"), ())
            case ev.Leave() if s.typed is not None:
                return replace(s, typed=None, message=""), ()
            case ev.Leave() if s.stage is ShapesStage.MOVE:
                stage = ShapesStage.LIST if s.fresh else ShapesStage.FIELDS
                return replace(s, stage=stage, moved=None, fresh=False, message="it stays where it was"), ()
            case ev.Leave() if s.stage is not ShapesStage.LIST:
                return replace(s, stage=ShapesStage.LIST, message=""), ()
            case ev.MapChanged(words):
                last = max(0, len(s.shapes) - 1)
                return replace(s, chosen=min(s.chosen, last), field=0, moved=None, fresh=False, message=words), ()
            case _:
                return None

    def light(self, s: ShapesState) -> Light:
        """What is lit stays."""
        return AsBelow()

    def reason(self, s: ShapesState) -> str:
        """Of the revision."""
        return "shapes of the playfield"

    def view(self, s: ShapesState) -> TaskView:
        """The list or the fields at the left, the field drawn with the shape in hand at the right."""
        items, chosen, above = _rows(s)
        middle = middle_of(s.shape)
        return TaskView(
            head=f"{s.map.machine.name} · Shapes of the playfield",
            board=s.board.words,
            above=above,
            prompt=f"{_field(s).label}:" if s.typed is not None else "",
            typed=s.typed,
            items=items,
            chosen=chosen,
            below=(Line(_hint(s), "dim", wrap=True),),
            message=s.message,
            unsaved=s.unsaved,
            picture=PictureView(
                point=ClickShape, start=middle, wide=True, shapes=s.drawn, shape=None if _adds(s) else s.shape
            ),
        )


def make(opened: Opened) -> tuple[ShapesTask, ShapesState]:
    """The shapes of the open map."""
    assert opened.map is not None, "shapes belong to a map"
    return ShapesTask(), ShapesState(map=opened.map)


# -- what is shown ------------------------------------------------------------------------------------------------------


def _adds(s: ShapesState) -> bool:
    return s.stage is ShapesStage.ADD


def named(shape: Shape) -> str:
    """A shape in words: its name, else its kind and the side it is on."""
    return shape.name or shape.words


def middle_of(shape: Shape) -> Position:
    """The middle of what is drawn of a shape."""
    left, near, right, far = extent_of(shape)
    return Position(x_mm=round((left + right) / 2, 1), y_mm=round((near + far) / 2, 1))


def _stands_at(shape: Shape) -> str:
    """Where a shape stands; of a line of points, where it begins."""
    x_mm, y_mm = shape.points[0] if shape.points else (0.0, 0.0)
    return f"{shape.x_mm + x_mm:.0f}, {shape.y_mm + y_mm:.0f} mm"


def _rows(s: ShapesState) -> tuple[tuple[Line, ...], int, tuple[Line, ...]]:
    match s.stage:
        case ShapesStage.LIST:
            neutral = "" if s.map.shapes else " · the neutral field, until something is changed"
            lines = tuple(Line(named(shape), note=_stands_at(shape)) for shape in s.shapes)
            return lines, s.chosen, (Line(f"Which shape?{neutral}", "bold"),)
        case ShapesStage.ADD:
            return tuple(Line(kind.value.replace("_", " ")) for kind in ShapeKind), s.kind, (Line("Add what?", "bold"),)
        case _:
            fields = fields_of(s.shape)
            lines = (Line("move it with the arrows"), *(Line(f"{f.label:<22}{f.value}") for f in fields))
            return lines, 0 if s.stage is ShapesStage.MOVE else s.field, (Line(named(s.shape).capitalize(), "bold"),)


def _hint(s: ShapesState) -> str:
    match s.stage:
        case ShapesStage.MOVE:
            return (
                f"Arrows move it {STEPS_MM[s.step]:g} mm (F5: longer, shorter); a click puts it there. "
                "Enter keeps it, Esc puts it back."
            )
        case ShapesStage.FIELDS:
            points = " F7 adds a point, F8 takes the marked one out." if s.shape.kind in DRAWN_BY_POINTS else ""
            return f"Enter types a value (empty: the usual one), ← → step it.{points}"
        case ShapesStage.ADD:
            return "It is put in the middle of the field, to be moved from there."
        case _:
            return "A click in the picture picks the shape there."


def fields_of(shape: Shape) -> tuple[ShapeField, ...]:
    """What can be changed of a shape, in order: name, where it stands, turn, mirror, sizes, points."""
    found = [ShapeField("name", "name", shape.name or "none")]
    for name in ("x_mm", "y_mm", "turn_deg"):
        found.append(ShapeField(name, _LABELS[name], _shown(name, getattr(shape, name))))
    found.append(ShapeField("mirror", "mirrored", "yes" if shape.mirror else "no"))
    if shape.kind is ShapeKind.WALL:
        found.append(ShapeField("curved", "rounded", "yes" if shape.curved else "no"))
    for name, value in shape.sizes.items():
        usual = "" if getattr(shape, name) is not None else " (usual)"
        found.append(ShapeField(name, name.rsplit("_", 1)[0].replace("_", " "), _shown(name, value) + usual))
    for n, (x, y) in enumerate(shape.points):
        found.append(ShapeField(f"points.{n}", f"point {n + 1}", f"{x:g}, {y:g} mm"))
    return tuple(found)


def _shown(name: str, value: float) -> str:
    unit = "°" if name.endswith("_deg") else "" if name == "count" else " mm"
    return f"{value:g}{unit}"


def _field(s: ShapesState) -> ShapeField:
    """The field in hand; the first row of the list is no field."""
    return fields_of(s.shape)[max(0, s.field - 1)]


# -- what is changed ------------------------------------------------------------------------------------------------------


def _put(s: ShapesState, shapes: Iterable[Shape], words: str) -> Next[ShapesState]:
    """These are the shapes now."""
    map_ = s.map.model_copy(update={"shapes": tuple(shapes)})
    done = replace(s, map=map_, moved=None, fresh=False, typed=None, message=words)
    last = max(0, len(done.shapes) - 1)
    return replace(done, chosen=min(done.chosen, last)), (fx.Commit(map_, words),)


def _replaced(s: ShapesState, shape: Shape, words: str) -> Next[ShapesState]:
    return _put(s, (shape if n == s.chosen else other for n, other in enumerate(s.shapes)), words)


def changed(shape: Shape, **fields: object) -> Shape:
    """The shape with these fields. Raises ValueError with words for the person."""
    try:
        return Shape.model_validate({**{name: getattr(shape, name) for name in Shape.model_fields}, **fields})
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        raise ValueError(fault["msg"].removeprefix("Value error, ").replace("Input should", "this should")) from None


def _choose(s: ShapesState, by: int) -> ShapesState:
    if s.typed is not None:
        return s
    match s.stage:
        case ShapesStage.LIST:
            return replace(s, chosen=(s.chosen + by) % len(s.shapes), message="")
        case ShapesStage.ADD:
            return replace(s, kind=(s.kind + by) % len(ShapeKind), message="")
        case _:
            return replace(s, field=(s.field + by) % (len(fields_of(s.shape)) + 1), message="")


def _nudged(s: ShapesState, across: int, up: int) -> ShapesState:
    shape, step = s.shape, STEPS_MM[s.step]
    try:
        moved = changed(shape, x_mm=round(shape.x_mm + across * step, 2), y_mm=round(shape.y_mm + up * step, 2))
    except ValueError as why:
        return replace(s, message=str(why))
    return replace(s, moved=moved, message=f"{moved.x_mm:g}, {moved.y_mm:g} mm")


def _click(s: ShapesState, x_mm: float, y_mm: float) -> Next[ShapesState]:
    if s.stage is ShapesStage.ADD or s.typed is not None:
        return s, ()
    if s.stage is ShapesStage.LIST:
        found = nearest(s.shapes, (x_mm, y_mm))
        if found is None:
            return replace(s, message="no shape is there"), ()
        return replace(s, chosen=found, message=named(s.shapes[found])), ()
    middle = middle_of(s.shape)
    try:
        moved = changed(
            s.shape, x_mm=round(s.shape.x_mm + x_mm - middle.x_mm, 1), y_mm=round(s.shape.y_mm + y_mm - middle.y_mm, 1)
        )
    except ValueError as why:
        return replace(s, message=str(why)), (fx.Bell(),)
    return replace(s, stage=ShapesStage.MOVE, moved=moved, message=f"{moved.x_mm:g}, {moved.y_mm:g} mm"), ()


def nearest(shapes: tuple[Shape, ...], point: Point) -> int | None:
    """The index of the shape whose lines come nearest to a point, if any is near; the smaller of two as near."""
    best: tuple[float, float, int] | None = None
    for n, shape in enumerate(shapes):
        away = min(_away(stroke.points, point) for stroke in strokes_of(shape))
        left, near, right, far = extent_of(shape)
        key = (round(away, 1), (right - left) * (far - near), n)
        if away <= NEAR_MM and (best is None or key < best):
            best = key
    return best[2] if best is not None else None


def _away(points: tuple[Point, ...], point: Point) -> float:
    """How far a point is from a line through points."""
    if len(points) == 1:
        return math.dist(points[0], point)
    return min(_from_piece(a, b, point) for a, b in pairwise(points))


def _from_piece(a: Point, b: Point, point: Point) -> float:
    across, along = b[0] - a[0], b[1] - a[1]
    length = across * across + along * along
    part = 0.0 if length == 0 else ((point[0] - a[0]) * across + (point[1] - a[1]) * along) / length
    part = max(0.0, min(1.0, part))
    return math.dist((a[0] + part * across, a[1] + part * along), point)


def _take(s: ShapesState) -> Next[ShapesState]:
    if s.typed is not None:
        return _take_value(s, s.typed)
    match s.stage:
        case ShapesStage.LIST:
            return replace(s, stage=ShapesStage.FIELDS, field=0, message=""), ()
        case ShapesStage.ADD:
            kind = list(ShapeKind)[s.kind]
            fresh = new_shape(s.map, kind)
            return replace(s, stage=ShapesStage.MOVE, moved=fresh, fresh=True, message=""), ()
        case ShapesStage.MOVE:
            return _drop(s)
        case ShapesStage.FIELDS if s.field == 0:
            return replace(s, stage=ShapesStage.MOVE, moved=s.shape, message=""), ()
        case _ if _field(s).name in ("mirror", "curved"):
            return _step_field(s, 1)
        case _:
            return replace(s, typed=typed_of(s.shape, _field(s).name), message=""), ()


def _drop(s: ShapesState) -> Next[ShapesState]:
    """The shape that was moved stays where it is now."""
    assert s.moved is not None, "something is moved"
    there = replace(s, stage=ShapesStage.FIELDS, field=0)
    words = f"{named(s.moved)}: {s.moved.x_mm:g}, {s.moved.y_mm:g} mm"
    if s.fresh:
        return _put(replace(there, chosen=len(s.shapes)), (*s.shapes, s.moved), f"added {words}")
    if s.moved == s.shapes[s.chosen]:
        return replace(there, moved=None, message="as it was"), ()
    return _replaced(there, s.moved, words)


def new_shape(map_: PlayfieldMap, kind: ShapeKind) -> Shape:
    """A new shape of a kind, as it usually is, with its middle in the middle of the field."""
    shape = Shape(kind=kind, points=_BEGINS) if kind in DRAWN_BY_POINTS else Shape(kind=kind)
    if kind in (ShapeKind.OUTLINE, ShapeKind.APRON, ShapeKind.SHOOTER_LANE):
        return next((each for each in neutral_field(map_.machine) if each.kind is kind), shape)
    middle = middle_of(shape)
    if kind is ShapeKind.PANEL:
        return changed(shape, y_mm=round(map_.machine.length_mm + 40, 1))
    return changed(
        shape,
        x_mm=round(map_.machine.width_mm / 2 - middle.x_mm, 1),
        y_mm=round(map_.machine.length_mm / 2 - middle.y_mm, 1),
    )


def typed_of(shape: Shape, name: str) -> str:
    """A field's value as it would be typed; empty for a usual size."""
    if name.startswith("points."):
        x, y = shape.points[int(name.partition(".")[2])]
        return f"{x:g}, {y:g}"
    value = getattr(shape, name)
    return "" if value is None else value if isinstance(value, str) else f"{value:g}"


def with_value(shape: Shape, name: str, text: str) -> Shape:
    """The shape with a field as it was typed. Raises ValueError with words for the person."""
    text = storable(text).strip()
    if name == "name":
        return changed(shape, name=text)
    if name.startswith("points."):
        at = int(name.partition(".")[2])
        parts = text.split(";" if ";" in text else ",")
        if len(parts) != 2:
            raise ValueError("a point is two lengths, such as 40, 120")
        point = (_length(parts[0]), _length(parts[1]))
        return changed(shape, points=tuple(point if n == at else p for n, p in enumerate(shape.points)))
    if not text:
        if name in _LABELS:
            raise ValueError("a number, please")
        return changed(shape, **{name: None})
    if name == "count":
        if not (text.isascii() and text.isdecimal()):
            raise ValueError("a whole number, please")
        return changed(shape, count=int(text[:6]))
    if name.endswith("_deg"):
        try:
            return changed(shape, **{name: float(text.rstrip("°").replace(",", "."))})
        except ValueError as why:
            raise ValueError("degrees, such as 28" if "float" in str(why) else str(why)) from None
    return changed(shape, **{name: _length(text)})


def _length(text: str) -> float:
    text = text.strip()
    try:
        return -round(parse_length(text[1:]), 2) if text.startswith(("-", "−")) else round(parse_length(text), 2)
    except LengthError as why:
        raise ValueError(str(why)) from None


def _take_value(s: ShapesState, text: str) -> Next[ShapesState]:
    field = _field(s)
    try:
        shape = with_value(s.shape, field.name, text)
    except ValueError as why:
        return replace(s, message=str(why)), (fx.Bell(),)
    if shape == s.shape:
        return replace(s, typed=None, message="as it was"), ()
    shown = next(f.value for f in fields_of(shape) if f.name == field.name)
    return _replaced(s, shape, f"{named(shape)}: {field.label} {shown}")


def _step_field(s: ShapesState, by: int) -> Next[ShapesState]:
    """A step of the value in hand: a switch turns over, a count by one, an angle by 5°, a length by the step."""
    if s.field == 0:
        return s, ()
    name, shape = _field(s).name, s.shape
    if name == "name" or name.startswith("points."):
        return replace(s, message="Enter types it"), ()
    if name in ("mirror", "curved"):
        value: object = not getattr(shape, name)
    else:
        now = shape.sizes[name] if name in shape.sizes else getattr(shape, name)
        value = now + by * (1 if name == "count" else TURN_STEP_DEG if name.endswith("_deg") else STEPS_MM[s.step])
        value = int(value) if name == "count" else round(value, 2)
    try:
        stepped = changed(shape, **{name: value})
    except ValueError as why:
        return replace(s, message=str(why)), (fx.Bell(),)
    shown = next(f.value for f in fields_of(stepped) if f.name == name)
    return _replaced(s, stepped, f"{named(stepped)}: {_field(s).label} {shown}")


def _add(s: ShapesState) -> Next[ShapesState]:
    if s.stage is ShapesStage.FIELDS and s.shape.kind in DRAWN_BY_POINTS:
        points = s.shape.points
        (x0, y0), (x1, y1) = points[-2], points[-1]
        further = (round(x1 + (x1 - x0) / 2, 1), round(y1 + (y1 - y0) / 2, 1))
        try:
            return _replaced(s, changed(s.shape, points=(*points, further)), f"{named(s.shape)}: a point added")
        except ValueError as why:
            return replace(s, message=str(why)), (fx.Bell(),)
    return replace(s, stage=ShapesStage.ADD, typed=None, message=""), ()


def _take_out(s: ShapesState) -> Next[ShapesState]:
    shape = s.shape
    if s.stage is ShapesStage.ADD:
        return s, ()
    if s.stage is ShapesStage.FIELDS and s.field and (name := _field(s).name).startswith("points."):
        at = int(name.partition(".")[2])
        try:
            fewer = changed(shape, points=tuple(p for n, p in enumerate(shape.points) if n != at))
        except ValueError as why:
            return replace(s, message=str(why)), (fx.Bell(),)
        # the mark stays on a point: on another field the same key takes the whole shape out
        return _replaced(
            replace(s, field=min(s.field, len(fields_of(fewer)))), fewer, f"{named(shape)}: a point taken out"
        )
    if len(s.shapes) == 1:
        return replace(s, message="the last shape stays: without any the neutral field is drawn"), (fx.Bell(),)
    there = replace(s, stage=ShapesStage.LIST, field=0)
    return _put(
        there, (each for n, each in enumerate(s.shapes) if n != s.chosen), f"taken out: {named(shape)} · Ctrl+Z"
    )
