"""The shapes that a map's playfield is drawn with: its own, or a neutral field of the machine's size."""

from __future__ import annotations

from functools import lru_cache

from probe.document.model import Machine, PlayfieldMap, Position
from probe.document.model.shape import DRAWN_BY_POINTS, Point, Shape, ShapeKind

_WIDTH_MM, _LENGTH_MM = 514.35, 1066.8


def _wall(*points: Point) -> Shape:
    return Shape(kind=ShapeKind.WALL, points=points)


def _standard() -> tuple[Shape, ...]:
    return (
        Shape(kind=ShapeKind.OUTLINE),
        Shape(kind=ShapeKind.APRON),
        Shape(kind=ShapeKind.SHOOTER_LANE, x_mm=508),
        Shape(kind=ShapeKind.FLIPPER, x_mm=150, y_mm=160, name="left flipper"),
        Shape(kind=ShapeKind.FLIPPER, x_mm=345, y_mm=160, mirror=True, name="right flipper"),
        Shape(kind=ShapeKind.SLINGSHOT, x_mm=112, y_mm=240, name="left slingshot"),
        Shape(kind=ShapeKind.SLINGSHOT, x_mm=383, y_mm=240, mirror=True, name="right slingshot"),
        Shape(kind=ShapeKind.LANE_GUIDE, x_mm=83, y_mm=215),
        Shape(kind=ShapeKind.LANE_GUIDE, x_mm=412, y_mm=215, mirror=True),
        Shape(kind=ShapeKind.BUMPER, x_mm=190, y_mm=875),
        Shape(kind=ShapeKind.BUMPER, x_mm=312, y_mm=875),
        Shape(kind=ShapeKind.BUMPER, x_mm=250, y_mm=790),
        Shape(kind=ShapeKind.ROLLOVER_LANES, x_mm=248, y_mm=955),
        _wall((42, 205), (42, 380), (24, 405)),
        _wall((453, 205), (453, 380)),
    )


@lru_cache(maxsize=8)
def neutral_field(machine: Machine) -> tuple[Shape, ...]:
    """What a playfield nobody has drawn yet looks like: common parts where they commonly are, at the machine's size.

    Where things stand scales with the field; the parts keep their sizes, but for what spans it. Common practice, no source.
    """
    across, along = machine.width_mm / _WIDTH_MM, machine.length_mm / _LENGTH_MM
    if across == along == 1:
        return _standard()
    return tuple(_scaled(shape, across, along) for shape in _standard())


_SPANNING = {ShapeKind.OUTLINE, ShapeKind.APRON, ShapeKind.SHOOTER_LANE}
_ACROSS = {"width_mm", "upper_width_mm", "drain_mm"}


def _scaled(shape: Shape, across: float, along: float) -> Shape:
    changed: dict[str, object] = {"x_mm": round(shape.x_mm * across, 2), "y_mm": round(shape.y_mm * along, 2)}
    if shape.kind in DRAWN_BY_POINTS:
        changed["points"] = tuple((round(x * across, 2), round(y * along, 2)) for x, y in shape.points)
    elif shape.kind in _SPANNING:
        changed |= {name: size * (across if name in _ACROSS else along) for name, size in shape.sizes.items()}
    else:
        least = min(across, along)
        changed |= {name: size if name in ("count", "rest_deg") else size * least for name, size in shape.sizes.items()}
    return shape.model_copy(update=changed)


def shapes_of(map_: PlayfieldMap) -> tuple[Shape, ...]:
    """The shapes that a map is drawn with."""
    return map_.shapes or neutral_field(map_.machine)


def above_field(map_: PlayfieldMap, position: Position) -> bool:
    """Whether a position lies beyond the far edge of the playfield, such as in the backbox."""
    return position.y_mm > map_.machine.length_mm
