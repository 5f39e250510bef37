"""What a map notes of wiring and power: supplies, feeds, batches of pixels, joints, and how the plan is computed.

Everything may be left out; the plan lists what it assumes instead. Pixels are named by their ids, so that nothing here
changes when numbers shift. An id that leads nowhere (its pixel was taken out by hand) is a finding, not an error.
"""

import re
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, Field

from probe.document.model.record import Identifier, Label, Record, Text

GAUGE_PATTERN = r"^(?:\d{1,2} AWG|\d{1,3}(?:\.\d{1,3})? mm²)$"
DATE_PATTERN = r"^(?:\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01]))?$"
MM2_RANGE = (0.03, 50.0)
_GAUGE = re.compile(GAUGE_PATTERN, re.ASCII)
_DATE = re.compile(DATE_PATTERN, re.ASCII)


def _is_gauge(text: str) -> str:
    if not _GAUGE.fullmatch(text):
        raise ValueError(f"{text[:40]!r} is not a gauge: write it as '22 AWG' or '0.34 mm²'")
    size = float(text.split()[0])
    low, high = (0, 40) if text.endswith("AWG") else MM2_RANGE
    if not low <= size <= high:
        raise ValueError(f"{text!r} is outside {low:g} to {high:g}: correct the gauge")
    return text


def _is_date(text: str) -> str:
    if not _DATE.fullmatch(text):
        raise ValueError(f"{text[:40]!r} is not a date: write it as 2025-03-16")
    return text


Gauge = Annotated[str, AfterValidator(_is_gauge), Field(json_schema_extra={"pattern": GAUGE_PATTERN})]
Date = Annotated[str, AfterValidator(_is_date), Field(json_schema_extra={"pattern": DATE_PATTERN})]


BenchOrder = Annotated[str, Field(pattern=r"^(?:[RGB]{3}|[RGBW]{4})?$")]
BatchWhite = Annotated[str, Field(pattern=r"^(?:[0-9A-F]{6})?$")]


class WireFunction(StrEnum):
    """What a wire does."""

    FIVE_VOLT = "5 V"
    GROUND = "ground"
    DATA_IN = "data in"
    DATA_OUT = "data out"


class JoinedTo(StrEnum):
    """What a wire leaving a pixel was found joined to, at the next one."""

    NOT_LOOKED = ""
    FIVE_VOLT = "5 V"
    GROUND = "ground"
    DATA_IN = "data in"
    DATA_OUT = "data out"
    NOTHING = "nothing"


class Fixing(StrEnum):
    """How the wire at a joint is held."""

    CLIP = "clip"
    STAPLE = "staple"
    TIE = "tie"
    LOOSE = "loose"
    UNKNOWN = "unknown"


class Connector(StrEnum):
    """The plugs in a feed or between pixels, by their size."""

    NOT_NOTED = ""
    NONE = "none"
    CRIMP_2_5 = "2.5 mm crimp"
    PIN_2_54 = "2.54 mm square pin"
    CRIMP_3_96 = "3.96 mm crimp"
    PIN_3_96 = "3.96 mm square pin"


class Metered(StrEnum):
    """What a meter was put to, in the order of a first power-up."""

    POLARITY = "polarity"
    OHMS = "ohms"
    FUSE = "fuse"
    FIRST_VOLT = "volts at the first pixel"
    LAST_VOLT = "volts at the last pixel"
    DARK_MA = "current, all dark"
    RED_MA = "current, all red"
    CEILING_MA = "current at the ceiling"


class Judged(StrEnum):
    """What a reading means."""

    GOOD = "good"
    LOOK = "look"
    STOP = "stop"


class MeterReading(Record):
    """A reading of a first power-up, kept with its date. `value` in V, mA, ohm or A (a fuse's rating), as `what` says.

    `value` None: `judged` is what a person saw or the meter could not show (no reading between open wires). `pixels`: how
    long the chain was then.
    """

    chain: Identifier
    what: Metered
    value: float | None = Field(default=None, ge=-1_000_000, le=1_000_000_000, allow_inf_nan=False)
    judged: Judged
    time: Text = ""
    pixels: int = Field(default=0, ge=0)
    note: Text = ""


class Batch(Record):
    """Pixels bought together, and the colours their wires happen to have ("": not noted).

    `chip` is the pixel kind if it is not the chain's. `white`: the duty at which its white looks as that of a bulb, RRGGBB,
    found by eye beside another batch ("": as common parts). `bench_…`: what the last test on the bench found, before the pixels
    were fitted: how many were on it, their order of colours, mA of all of them dark and full red, how long the burn-in was lit,
    what was not as it should be, the day.
    """

    id: Identifier
    name: Label
    five_volt: Text = ""
    ground: Text = ""
    data_in: Text = ""
    data_out: Text = ""
    chip: Identifier | None = None
    white: BatchWhite = ""
    bench_pixels: int | None = Field(default=None, ge=1, le=1_000)
    bench_order: BenchOrder = ""
    bench_dark_ma: float | None = Field(default=None, ge=0, le=1_000_000, allow_inf_nan=False)
    bench_red_ma: float | None = Field(default=None, ge=0, le=1_000_000, allow_inf_nan=False)
    bench_minutes: int | None = Field(default=None, ge=0, le=100_000)
    bench_judged: Judged | None = None
    bench_flaw: Text = ""
    bench_on: Date | None = None
    note: Text = ""


class Supply(Record):
    """A power supply. `rating_a` None: not noted. `board_ma` is the current of boards fed from it."""

    id: Identifier
    name: Label
    volt: float = Field(default=5.0, gt=0, le=60, allow_inf_nan=False)
    rating_a: float | None = Field(default=None, gt=0, le=1_000, allow_inf_nan=False)
    board_ma: int = Field(default=0, ge=0, le=100_000)
    usb: bool = False
    note: Text = ""


class Feed(Record):
    """Two wires from a supply to a pixel (its id). `fuse_a` is the fuse that is fitted, None if not noted."""

    id: Identifier
    name: Label
    chain: Identifier
    pixel: Identifier
    supply: Identifier
    wire: Gauge | None = None
    length_mm: float | None = Field(default=None, ge=0, le=100_000, allow_inf_nan=False)
    fuse_a: float | None = Field(default=None, gt=0, le=1_000, allow_inf_nan=False)
    connector: Connector = Connector.NOT_NOTED
    note: Text = ""


class Joint(Record):
    """A joint and the stretch of wire it ends: from pixel `after` (None: the board) to pixel `before`, by their ids.

    Colours are those of the wires at either end where they differ from the batch's ("": as the batch's). `..._to`:
    what the leaving wires were found joined to. `length_mm`: wire between the two pixels, one way. `five_volt_open`: the
    5 V wire is left open here, to keep two supplies apart. `extra_mohm`: resistance beyond a fair joint's, in each wire.
    """

    after: Identifier | None = None
    before: Identifier
    leaving_5v: Text = ""
    leaving_ground: Text = ""
    leaving_data: Text = ""
    arriving_5v: Text = ""
    arriving_ground: Text = ""
    arriving_data: Text = ""
    five_volt_to: JoinedTo = JoinedTo.NOT_LOOKED
    ground_to: JoinedTo = JoinedTo.NOT_LOOKED
    data_to: JoinedTo = JoinedTo.NOT_LOOKED
    five_volt_open: bool = False
    length_mm: float | None = Field(default=None, ge=0, le=100_000, allow_inf_nan=False)
    extra_mohm: float = Field(default=0.0, ge=0, le=1_000_000, allow_inf_nan=False)
    fixing: Fixing = Fixing.UNKNOWN
    made_on: Date = ""
    checked: bool = False
    note: Text = ""


class Power(Record):
    """How the plan is computed.

    ceiling_level: greatest colour value sent anywhere. typical_percent: light current in play, of that at the ceiling.
    copper_c: of the wires; ambient_c: under the playfield. drive_volt: level of the board's data. frames_per_s: refresh
    rate wished for.
    """

    ceiling_level: int = Field(default=255, ge=0, le=255)
    typical_percent: int = Field(default=33, ge=0, le=100)
    copper_c: float = Field(default=40.0, ge=-40, le=150, allow_inf_nan=False)
    ambient_c: float = Field(default=30.0, ge=-40, le=90, allow_inf_nan=False)
    wires_in_bundle: int = Field(default=2, ge=1, le=100)
    drive_volt: float = Field(default=3.3, gt=0, le=60, allow_inf_nan=False)
    frames_per_s: float = Field(default=30.0, gt=0, le=10_000, allow_inf_nan=False)
    note: Text = ""
