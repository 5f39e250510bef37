"""Pixel kinds: what their data sheets state, the current they draw, the time a frame takes; and the head of a chain:
logic level, parts to fit, what USB alone can carry.

Where a sheet is silent the figure is marked in `assumed` and says so on screen.

Sources
 [1] Worldsemi WS2811 sheet p. 3-4.           [2] Worldsemi WS2812B sheet p. 3-5 (no channel current stated).
 [3] Worldsemi WS2812B Ver V5 sheet p. 2-4.   [4] Worldsemi WS2812-2020 V1.0 sheet p. 3-4.
 [5] Worldsemi WS2813-Mini / WS2813B-B sheet p. 3-4.
 [6] SPC/SK6812mini 2015-07-22 p. 5.          [7] SPC/SK6812RGBW-XX 2015-07-31 p. 5-6.
 [8] sheetsdata.com/parts/WS2815 (extract: 9 to 13 V); dark 2.1 mA and data of 5 V at most: a reseller's page.
 [9] 74AHCT/HCT inputs read 2.0 V and more as 1 at 5 V: from memory.
[10] 300 to 500 ohm in the data wire at the first pixel, 1000 uF and 6.3 V or more across the supply: wiert.me and
     forum.arduino.cc 715146 quoting a retailer's guide; 220 to 470 ohm close to the pixel: SparkFun WS2812
     hookup p. 19.
[11] USB: 500 mA after set-up, 100 mA before; start-up charge as of 10 uF (colinoflynn.com, cypress DOC-11437).
[12] 100 nF at every pixel: WS2812B and WS2811 sheets.
[13] WS2811 sheet, application with 12 V and three diodes a chip: 18.5 mA a colour, its own 5 V by 2.7 kohm, so
     (12 - 5)/2.7 kohm = 2.6 mA while dark.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Self

from pydantic import Field

from probe.harness.base import Frozen, PowerError, require_not_negative, require_positive


class PixelKind(Frozen):
    """Figures of one pixel kind.

    Current model: idle + channel_a x (sum of colour values)/255 while the supply is at or above `regulation_volt`.
    Below that the drivers run out of headroom: the light current falls in a straight line to nothing at `dark_volt`,
    and below `dark_volt` the idle current falls in a straight line to nothing at 0 V. The sheets do not publish that
    part; the line is a model, chosen so that current never rises as voltage falls.
    """

    name: str
    channels: int = Field(ge=1, le=8)
    channel_a: float = Field(ge=0)
    idle_a: float = Field(ge=0)
    nominal_volt: float = Field(gt=0)
    low_line_volt: float = Field(gt=0)  # plan no pixel below this
    lowest_volt: float = Field(gt=0)  # listed supply range
    highest_volt: float = Field(gt=0)
    regulation_volt: float = Field(gt=0)
    dark_volt: float = Field(ge=0)
    input_high_fraction: float | None = None  # VIH as a share of the supply ...
    input_high_volt: float | None = None  # ... or as a fixed voltage
    input_low_fraction: float | None = None
    input_low_volt: float | None = None
    input_most_volt: float | None = None  # of data, whatever the supply; None: as the supply
    bits: int = Field(default=24, ge=1)
    bit_time_us: float = Field(default=1.25, gt=0)
    latch_us: float = Field(gt=0)
    wants_capacitor: bool = True  # V5 sheet: no external parts needed
    assumed: tuple[str, ...] = ()
    source: str

    @property
    def full_white_a(self) -> float:
        """All channels at 255, idle included, A."""
        return self.idle_a + self.light_a

    @property
    def light_a(self) -> float:
        """All channels at 255 without the idle current, A."""
        return self.channels * self.channel_a

    @property
    def pixel_time_us(self) -> float:
        """Time to clock one pixel's bits."""
        return self.bits * self.bit_time_us

    @property
    def current_assumed(self) -> bool:
        """Whether one of its currents is in no sheet."""
        return any(text.startswith("current") for text in self.assumed)

    def drawing(self, *, idle_a: float, channel_a: float) -> Self:
        """The kind with currents that were measured in place of its own."""
        kept = tuple(text for text in self.assumed if not text.startswith("current"))
        return self.model_copy(update={"idle_a": idle_a, "channel_a": channel_a, "assumed": kept})

    @property
    def volts(self) -> str:
        """Its supply in words: `5 V`."""
        return f"{self.nominal_volt:g} V"

    def high_threshold_volt(self, *, supply_volt: float) -> float:
        """Smallest data voltage read as 1, VIH, at the given pixel supply."""
        if self.input_high_volt is not None:
            return self.input_high_volt
        return (self.input_high_fraction or 0.7) * supply_volt

    def low_threshold_volt(self, *, supply_volt: float) -> float:
        """Largest data voltage read as 0, VIL."""
        if self.input_low_volt is not None:
            return self.input_low_volt
        return (self.input_low_fraction or 0.3) * supply_volt


_REGULATION = "where regulation and light end: from the LED voltages of the sheet plus headroom, a model"
_IDLE = "current while dark: 1 mA as for like parts, from memory"
_5V: Final = {"nominal_volt": 5.0, "low_line_volt": 4.5, "regulation_volt": 3.7, "dark_volt": 2.2}
_RATIO: Final = {"input_high_fraction": 0.7, "input_low_fraction": 0.3}


def _kinds() -> tuple[PixelKind, ...]:
    make = PixelKind.model_validate
    return (
        make({
            "name": "WS2811", "channels": 3, "channel_a": 0.0185, "idle_a": 0.001, **_5V, **_RATIO,
            "lowest_volt": 4.5, "highest_volt": 5.5, "latch_us": 50.0, "source": "[1]",
            "assumed": (_IDLE, _REGULATION, "supply range: the sheet's test range"),
        }),
        make({
            "name": "WS2811-slow", "channels": 3, "channel_a": 0.0185, "idle_a": 0.001, **_5V, **_RATIO,
            "lowest_volt": 4.5, "highest_volt": 5.5, "bit_time_us": 2.5, "latch_us": 50.0, "source": "[1] 400 kb/s",
            "assumed": (_IDLE, _REGULATION, "supply range: the sheet's test range"),
        }),
        make({
            "name": "WS2812B", "channels": 3, "channel_a": 0.020, "idle_a": 0.001, **_5V, **_RATIO,
            "lowest_volt": 3.5, "highest_volt": 5.3, "latch_us": 50.0, "source": "[2]",
            "assumed": ("current of one colour: 20 mA from memory", _IDLE, _REGULATION),
        }),
        make({
            "name": "WS2812B-V5", "channels": 3, "channel_a": 0.012, "idle_a": 0.0006, **_5V,
            "lowest_volt": 3.7, "highest_volt": 5.3, "input_high_volt": 2.7, "input_low_volt": 0.7,
            "latch_us": 280.0, "wants_capacitor": False, "source": "[3]", "assumed": (_REGULATION,),
        }),
        make({
            "name": "WS2812-2020", "channels": 3, "channel_a": 0.005, "idle_a": 0.001, **_5V, **_RATIO,
            "lowest_volt": 3.7, "highest_volt": 5.3, "latch_us": 280.0, "source": "[4]",
            "assumed": (_IDLE, _REGULATION),
        }),
        make({
            "name": "WS2813", "channels": 3, "channel_a": 0.016, "idle_a": 0.0007, **_5V, **_RATIO,
            "lowest_volt": 3.7, "highest_volt": 5.3, "latch_us": 280.0, "source": "[5]", "assumed": (_REGULATION,),
        }),
        make({
            "name": "SK6812", "channels": 3, "channel_a": 0.013, "idle_a": 0.001, **_5V,
            "lowest_volt": 3.5, "highest_volt": 5.5, "input_high_volt": 3.4, "input_low_volt": 1.6,
            "latch_us": 80.0, "source": "[6]", "assumed": (_REGULATION,),
        }),
        make({
            "name": "SK6812-RGBW", "channels": 4, "channel_a": 0.012, "idle_a": 0.001, **_5V,
            "lowest_volt": 3.5, "highest_volt": 5.5, "input_high_volt": 3.4, "input_low_volt": 1.6, "bits": 32,
            "latch_us": 80.0, "source": "[7]",
            "assumed": ("current of one colour: the sheet tests at 9 mA; 12 mA from memory", _REGULATION),
        }),
        make({
            "name": "WS2815", "channels": 3, "channel_a": 0.005, "idle_a": 0.0021, "nominal_volt": 12.0,
            "low_line_volt": 10.8, "lowest_volt": 9.0, "highest_volt": 13.0, "regulation_volt": 9.0, "dark_volt": 6.0,
            "input_high_volt": 3.5, "input_low_volt": 1.5, "input_most_volt": 5.0, "latch_us": 300.0, "source": "[8]",
            "assumed": (
                "current of one colour: 5 mA from memory; sellers say 10 mA a colour, or 20 mA full white: measure it",
                "thresholds: the printed 0.7 VDD is taken of the chip's own 5 V, the sheet being in error", _REGULATION,
            ),
        }),
        make({
            "name": "WS2811-12V", "channels": 3, "channel_a": 0.0185, "idle_a": 0.0026, "nominal_volt": 12.0,
            "low_line_volt": 11.0, "lowest_volt": 10.5, "highest_volt": 13.0, "regulation_volt": 10.8, "dark_volt": 7.0,
            "input_high_volt": 3.5, "input_low_volt": 1.5, "input_most_volt": 5.0, "latch_us": 50.0, "source": "[13]",
            "assumed": (
                "supply range: three diodes of 3.2 V in a row and their driver at least, from memory", _REGULATION,
            ),
        }),
    )  # fmt: skip


PIXEL_KINDS: Final[dict[str, PixelKind]] = {kind.name: kind for kind in _kinds()}


def pixel_kind(name: str) -> PixelKind:
    """The kind with that name. Raises PowerError naming the known ones."""
    try:
        return PIXEL_KINDS[name]
    except KeyError:
        raise PowerError(f"pixel kind {name!r} is not known. Known: {', '.join(PIXEL_KINDS)}.") from None


def nominal_volt_of(chip: str) -> float:
    """Volts of a pixel kind by its name in any case; 5 where it is not known."""
    return next((kind.nominal_volt for name, kind in PIXEL_KINDS.items() if name.lower() == chip.lower()), 5.0)


def frame_time_s(kinds: Iterable[tuple[PixelKind, int]]) -> float:
    """Time to refresh a chain: sum of bits x bit time, plus the longest latch gap.

    `kinds` lists (kind, how many). The bit times of one chain are clocked at the slowest kind's rate.
    """
    runs = [(kind, count) for kind, count in kinds if count > 0]
    if not runs:
        return 0.0
    bit_us = max(kind.bit_time_us for kind, _ in runs)
    bits = sum(kind.bits * count for kind, count in runs)
    return (bits * bit_us + max(kind.latch_us for kind, _ in runs)) * 1e-6


def largest_chain(kind: PixelKind, *, frames_per_s: float) -> int:
    """Most pixels of one kind that still reach the frame rate: floor((1/f - latch)/(bits x bit time))."""
    require_positive(frames_per_s, what="frame rate")
    return max(0, math.floor((1 / frames_per_s - kind.latch_us * 1e-6) / (kind.pixel_time_us * 1e-6) + 1e-9))


# -- the head of a chain -----------------------------------------------------------------------------------------

USB_BUDGET_A: Final = 0.45  # of the 0.5 A of a configured device a tenth is kept back
USB_INRUSH_UF: Final = 10.0
BOARD_A: Final = 0.060
PIXEL_CAPACITOR_UF: Final = 0.1
CHAIN_CAPACITOR_UF: Final = 1000.0
SERIES_OHM: Final = (300, 500)
LONGEST_UNBUFFERED_M: Final = 1.0  # common practice, no source
BUFFER_VOLT: Final = 5.0
USB_VOLT: Final = 5.0


@dataclass(frozen=True, slots=True)
class LogicLevel:
    """Data level against the first pixel's threshold. V; margin_volt below 0 means not read reliably."""

    needed_volt: float
    drive_volt: float
    supply_volt: float
    reads_high: bool
    largest_supply_volt: float | None  # the pixel supply up to which this drive would do, if that depends on it
    advice: str
    ground_lift_volt: float = 0.0
    too_high: bool = False

    @property
    def margin_volt(self) -> float:
        """Drive as it arrives, minus threshold."""
        return self.drive_volt - self.ground_lift_volt - self.needed_volt


def logic_level(kind: PixelKind, *, drive_volt: float, supply_volt: float, ground_lift_volt: float = 0.0) -> LogicLevel:
    """Compare the board's data level with VIH of the first pixel at its own supply voltage [1] to [8].

    ground_lift_volt: how far the pixel's ground lies above the board's; the pixel sees that much less of a 1. What is
    advised stays within the part's limits.
    """
    require_positive(drive_volt, what="data level in V")
    require_positive(supply_volt, what="pixel supply in V")
    needed = kind.high_threshold_volt(supply_volt=supply_volt)
    arriving = drive_volt - ground_lift_volt
    reads = arriving >= needed - 1e-9
    most = supply_volt + 0.5 if kind.input_most_volt is None else kind.input_most_volt + 0.5
    too_high = drive_volt > most + 1e-9
    largest: float | None = None
    if kind.input_high_fraction is not None:
        largest = arriving / kind.input_high_fraction
    lifted = f" less {ground_lift_volt:.2f} V, by which its ground is lifted," if ground_lift_volt >= 0.005 else ""
    needs = f"{kind.name} needs {needed:.2f} V at {supply_volt:.2f} V"
    if too_high:
        advice = (
            f"{drive_volt:g} V data is too high: {kind.name} takes {most - 0.5:.2f} V. Put a buffer of that supply in."
        )
    elif reads:
        advice = f"{drive_volt:g} V data{lifted} is enough: {needs}."
    else:
        advice = f"{drive_volt:g} V data{lifted} is too low: {needs}. "
        buffered = BUFFER_VOLT - ground_lift_volt
        if buffered >= needed:
            advice += f"Put a {BUFFER_VOLT:g} V buffer of the HCT or AHCT family in the data wire"
        else:
            advice += "Thicken or shorten the ground wire to the first pixel"
        if largest is not None and largest >= max(kind.low_line_volt, kind.lowest_volt):
            advice += f", or feed the first pixel with {math.floor(largest * 10 + 1e-9) / 10:.1f} V at most"
        advice += "."
    return LogicLevel(
        needed_volt=needed, drive_volt=drive_volt, supply_volt=supply_volt, reads_high=reads and not too_high,
        largest_supply_volt=largest, advice=advice, ground_lift_volt=ground_lift_volt, too_high=too_high,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class UsbAlone:
    """What a computer's USB port can carry. `level` is the largest equal white (0 to 255) for all pixels at once, None
    if the dark pixels alone are too much. `inrush_uf` is the capacitance found at plug-in against 10 uF allowed.
    `fits` False: the part takes other volts than a port's, so it carries nothing."""

    pixels: int
    idle_a: float
    level: int | None
    one_pixel_level: int | None
    inrush_uf: float
    inrush_ok: bool
    fits: bool = True


def usb_alone(
    kind: PixelKind,
    *,
    pixels: int,
    board_a: float = BOARD_A,
    budget_a: float = USB_BUDGET_A,
    extra_capacitor_uf: float = 0.0,
) -> UsbAlone:
    """Largest levels on USB only [11], floor(255 (budget - board - N idle)/(lit x light)), with all lit and with one."""
    if pixels < 1:
        raise PowerError(f"{pixels} pixels: at least one is needed.")
    require_not_negative(board_a, what="board current in A")
    idle = board_a + pixels * kind.idle_a
    left = budget_a - idle
    fits = kind.low_line_volt <= USB_VOLT <= kind.highest_volt

    def level(lit: int) -> int | None:
        return None if left < 0 or not fits else min(255, math.floor(255 * left / (lit * kind.light_a) + 1e-9))

    each = PIXEL_CAPACITOR_UF if kind.wants_capacitor else 0.0
    inrush = pixels * each + extra_capacitor_uf
    return UsbAlone(
        pixels=pixels, idle_a=idle, level=level(pixels), one_pixel_level=level(1),
        inrush_uf=inrush, inrush_ok=inrush <= USB_INRUSH_UF, fits=fits,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reminder:
    """A part to fit: where, what, why."""

    part: str
    why: str


def head_reminders(kind: PixelKind, *, on_usb: bool = False, data_lead_m: float = 0.0) -> tuple[Reminder, ...]:
    """Parts for the head of a chain of this kind [9] to [12]."""
    parts = [
        Reminder(
            f"{SERIES_OHM[0]} to {SERIES_OHM[1]} Ω in the data wire, at the first pixel's end",
            "takes the ringing off the edges and limits current into an unpowered pixel",
        )
    ]
    if on_usb:
        parts.append(
            Reminder(
                "no large capacitor while the chain runs from USB",
                f"a port must not see more than about {USB_INRUSH_UF:g} µF when it is plugged in",
            )
        )
    else:
        volts = 6.3 if kind.nominal_volt <= 5 else 25.0
        need = (
            "" if kind.wants_capacitor else " (this kind's sheet does not ask for it; the long supply wires still do)"
        )
        parts.append(
            Reminder(
                f"{CHAIN_CAPACITOR_UF:g} µF, {volts:g} V or more, across plus and ground at the head, right way round",
                f"covers the peaks of many pixels dimming in step, and the moment of switching on{need}",
            )
        )
    if kind.wants_capacitor:
        parts.append(
            Reminder(
                "100 nF across every loose pixel, unless it is already on its small board", "asked for by the sheet"
            )
        )
    if data_lead_m > LONGEST_UNBUFFERED_M:
        parts.append(
            Reminder(
                f"a buffer for the {data_lead_m:g} m data lead, run side by side with a ground wire",
                f"beyond about {LONGEST_UNBUFFERED_M:g} m an unbuffered edge gets unsure",
            )
        )
    return tuple(parts)
