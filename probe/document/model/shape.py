"""What is drawn of a playfield beside its lights: standard shapes, such as flippers and bumpers, as records.

A shape holds its kind, where it stands, how it is turned, and those of its sizes that differ from the kind's usual ones.
The usual sizes are those of common parts and playfields: common practice, no source.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Self

from pydantic import Field, model_validator

from probe.document.model.record import Record, Text


class ShapeKind(StrEnum):
    """What a shape stands for."""

    OUTLINE = "outline"
    APRON = "apron"
    FLIPPER = "flipper"
    SLINGSHOT = "slingshot"
    LANE_GUIDE = "lane_guide"
    SHOOTER_LANE = "shooter_lane"
    BUMPER = "bumper"
    DROP_TARGETS = "drop_targets"
    STANDING_TARGETS = "standing_targets"
    ROLLOVER_LANES = "rollover_lanes"
    SPINNER = "spinner"
    SAUCER = "saucer"
    RAMP = "ramp"
    WALL = "wall"
    POST = "post"
    PANEL = "panel"


USUAL_SIZES: Mapping[ShapeKind, Mapping[str, float]] = {
    ShapeKind.OUTLINE: {"width_mm": 514.35, "length_mm": 1066.8, "arch_mm": 218, "inset_mm": 8},
    ShapeKind.APRON: {"width_mm": 462, "rise_mm": 112, "drain_mm": 84, "drain_height_mm": 48},
    ShapeKind.FLIPPER: {"length_mm": 76, "rest_deg": 28, "pivot_mm": 11, "tip_mm": 6},
    ShapeKind.SLINGSHOT: {"height_mm": 145, "foot_mm": 38, "width_mm": 60},
    ShapeKind.LANE_GUIDE: {"height_mm": 130, "run_mm": 62, "drop_mm": 42},
    ShapeKind.SHOOTER_LANE: {"width_mm": 50, "upper_width_mm": 30, "straight_mm": 480, "length_mm": 830},
    ShapeKind.BUMPER: {"skirt_mm": 88, "cap_mm": 60},
    ShapeKind.DROP_TARGETS: {"count": 5, "pitch_mm": 35, "target_mm": 28},
    ShapeKind.STANDING_TARGETS: {"count": 3, "pitch_mm": 35, "target_mm": 25},
    ShapeKind.ROLLOVER_LANES: {"count": 4, "pitch_mm": 52, "length_mm": 58},
    ShapeKind.SPINNER: {"width_mm": 46},
    ShapeKind.SAUCER: {"bore_mm": 34},
    ShapeKind.RAMP: {"width_mm": 54},
    ShapeKind.WALL: {},
    ShapeKind.POST: {"bore_mm": 10},
    ShapeKind.PANEL: {"width_mm": 480, "height_mm": 480},
}
"""The sizes of each kind, and what they are where a shape does not say."""

DRAWN_BY_POINTS = frozenset({ShapeKind.RAMP, ShapeKind.WALL})
SIZES = tuple(sorted({name for sizes in USUAL_SIZES.values() for name in sizes}))
Point = tuple[float, float]

_Size = Field(default=None, ge=0.5, le=5_000, allow_inf_nan=False)


class Shape(Record):
    """One shape. It stands at `x_mm` from the left and `y_mm` from the near edge, as places do; which point of it that
    is, depends on its kind. `turn_deg` turns it to the left around that point, after which `mirror` swaps its left and right.
    `points` are the middle line of a ramp or wall, in mm from where it stands; `curved` rounds a wall's corners.
    """

    kind: ShapeKind
    x_mm: float = Field(default=0.0, ge=-5_000, le=5_000, allow_inf_nan=False)
    y_mm: float = Field(default=0.0, ge=-5_000, le=5_000, allow_inf_nan=False)
    turn_deg: float = Field(default=0.0, ge=-360, le=360, allow_inf_nan=False)
    mirror: bool = False
    name: Text = ""
    points: tuple[tuple[float, float], ...] = Field(default=(), max_length=200)
    curved: bool = False
    count: int | None = Field(default=None, ge=1, le=24)
    rest_deg: float | None = Field(default=None, ge=-90, le=90, allow_inf_nan=False)
    width_mm: float | None = _Size
    length_mm: float | None = _Size
    height_mm: float | None = _Size
    arch_mm: float | None = _Size
    inset_mm: float | None = _Size
    rise_mm: float | None = _Size
    drain_mm: float | None = _Size
    drain_height_mm: float | None = _Size
    pivot_mm: float | None = _Size
    tip_mm: float | None = _Size
    foot_mm: float | None = _Size
    run_mm: float | None = _Size
    drop_mm: float | None = _Size
    upper_width_mm: float | None = _Size
    straight_mm: float | None = _Size
    skirt_mm: float | None = _Size
    cap_mm: float | None = _Size
    pitch_mm: float | None = _Size
    target_mm: float | None = _Size
    bore_mm: float | None = _Size

    @model_validator(mode="after")
    def _sizes_belong(self) -> Self:
        foreign = [name for name in SIZES if getattr(self, name) is not None and name not in USUAL_SIZES[self.kind]]
        if foreign:
            known = ", ".join(USUAL_SIZES[self.kind]) or "no sizes"
            raise ValueError(f"a {self.words} has no {foreign[0]!r}: it has {known}")
        if self.kind in DRAWN_BY_POINTS:
            if len(self.points) < 2:
                raise ValueError(f"a {self.words} needs at least two points [x, y] in 'points'")
        elif self.points:
            raise ValueError(f"a {self.words} has no 'points'")
        if self.curved and self.kind is not ShapeKind.WALL:
            raise ValueError(f"a {self.words} has no 'curved'")
        if any(abs(value) > 5_000 or value != value for point in self.points for value in point):
            raise ValueError("a point lies more than 5,000 mm away")
        return self

    @property
    def words(self) -> str:
        """Its kind as people say it."""
        return self.kind.value.replace("_", " ")

    @property
    def sizes(self) -> dict[str, float]:
        """All sizes of its kind: its own, or else the usual ones."""
        return {
            name: usual if (own := getattr(self, name)) is None else own
            for name, usual in USUAL_SIZES[self.kind].items()
        }
