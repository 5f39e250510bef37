"""What a map notes for planning its chains: what wire has to keep clear of, where wire enters, and the rules of a plan."""

from enum import StrEnum
from typing import Self

from pydantic import Field, model_validator

from probe.document.model.record import Identifier, Record, Text

_Where = Field(ge=-5_000, le=5_000, allow_inf_nan=False)
_Size = Field(default=None, gt=0, le=5_000, allow_inf_nan=False)


class KeepOutShape(StrEnum):
    """What a keep-out looks like."""

    RECTANGLE = "rectangle"
    CIRCLE = "circle"


class KeepOut(Record):
    """Something under the playfield that wire keeps clear of: a coil, a mechanism, a trough, a rail.

    Drawn as places are: mm from the near left corner, seen from above. A rectangle begins at its near left corner
    (`x_mm`, `y_mm`) and is `width_mm` across and `height_mm` deep; a circle has its middle there, and `radius_mm`.
    Wire stays `clearance_mm` away.
    """

    kind: KeepOutShape
    x_mm: float = _Where
    y_mm: float = _Where
    width_mm: float | None = _Size
    height_mm: float | None = _Size
    radius_mm: float | None = _Size
    clearance_mm: float = Field(default=8.0, ge=0, le=500, allow_inf_nan=False)
    name: Text = ""

    @model_validator(mode="after")
    def _sizes_belong(self) -> Self:
        rectangle = self.width_mm is not None and self.height_mm is not None and self.radius_mm is None
        circle = self.radius_mm is not None and self.width_mm is None and self.height_mm is None
        if self.kind is KeepOutShape.RECTANGLE and not rectangle:
            raise ValueError("a rectangle has 'width_mm' and 'height_mm', and no 'radius_mm'")
        if self.kind is KeepOutShape.CIRCLE and not circle:
            raise ValueError("a circle has 'radius_mm', and no 'width_mm' or 'height_mm'")
        return self


class HingeSide(StrEnum):
    """An edge of the playfield."""

    NEAR = "near"
    FAR = "far"
    LEFT = "left"
    RIGHT = "right"


class WireEntry(Record):
    """Where the wire of a chain comes in from the board: mm, as places."""

    chain: Identifier
    x_mm: float = _Where
    y_mm: float = _Where


class ChosenCut(Record):
    """Places (their ids) spliced in after a pixel's number (None: before the first), in the order of the wire."""

    after: int | None = Field(default=None, ge=0)
    places: tuple[Identifier, ...] = Field(min_length=1, max_length=64)


class ChosenSplice(Record):
    """A splice that was chosen and is being soldered: the chain, how many pixels it had then, and where it is cut.

    Numbers are those before all of it. `wire_mm`: what it takes beyond the wire that is there.
    """

    chain: Identifier
    pixels: int = Field(ge=1)
    cuts: tuple[ChosenCut, ...] = Field(min_length=1, max_length=64)
    wire_mm: float = Field(default=0.0, ge=-1_000_000, le=1_000_000, allow_inf_nan=False)


class RepairWay(StrEnum):
    """What is done about a dead pixel."""

    REPLACE = "replace"
    SPARE = "spare"
    LEAVE_OUT = "leave out"


class ChosenRepair(Record):
    """A repair of a dead pixel that was chosen and is being soldered: the chain, how many pixels it had then, and which is dead."""

    chain: Identifier
    pixels: int = Field(ge=1)
    number: int = Field(ge=0)
    way: RepairWay


class PlanRules(Record):
    """What a plan of the chains keeps to.

    `seating_mm`: wire that goes up into a pixel's seat and comes down again, at either end of a stretch. `loop_mm`: wire
    left over in each stretch, to open a joint once more. `rounding_mm`: lengths are cut in steps of this. `area_change_mm`:
    how much more wire is worth it to stay in an area. `largest_chain`: pixels that an output may carry. `spare_percent`:
    how much unlike in length chains may be. `hinge`: where the playfield turns, and wire comes in if no entry says otherwise.
    `pinned`, `forbidden`: pairs of places (their ids) that are to be neighbours on the wire, or must not be.
    `splice`, `repair`: the one chosen, until it is soldered and the map renumbered.
    """

    seating_mm: float = Field(default=12.0, ge=0, le=1_000, allow_inf_nan=False)
    loop_mm: float = Field(default=25.0, ge=0, le=1_000, allow_inf_nan=False)
    rounding_mm: float = Field(default=10.0, ge=1, le=1_000, allow_inf_nan=False)
    area_change_mm: float = Field(default=100.0, ge=0, le=5_000, allow_inf_nan=False)
    largest_chain: int | None = Field(default=None, ge=1, le=65_535)
    spare_percent: int = Field(default=10, ge=0, le=100)
    hinge: HingeSide = HingeSide.FAR
    entries: tuple[WireEntry, ...] = Field(default=(), max_length=64)
    pinned: tuple[tuple[Identifier, Identifier], ...] = Field(default=(), max_length=5_000)
    forbidden: tuple[tuple[Identifier, Identifier], ...] = Field(default=(), max_length=5_000)
    splice: ChosenSplice | None = None
    repair: ChosenRepair | None = None
