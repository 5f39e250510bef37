"""The data wire and the parts at the head of a chain: logic level, series resistor, start-up charge, USB alone.

Sources
 [1] Data sheets as in probe.harness.pixels (VIH, VIL).
 [2] 74AHCT/HCT inputs read 2.0 V and more as 1 at 5 V: from memory.
 [3] 300 to 500 ohm in the data wire at the first pixel, 1000 uF and 6.3 V or more across the supply: wiert.me and
     forum.arduino.cc 715146 quoting a retailer's guide; 220 to 470 ohm close to the pixel: SparkFun WS2812
     hookup p. 19.
 [4] USB: 500 mA after set-up, 100 mA before; start-up charge as of 10 uF (colinoflynn.com, cypress DOC-11437).
 [5] 100 nF at every pixel: WS2812B and WS2811 sheets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from probe.harness.base import PowerError, require_not_negative, require_positive
from probe.harness.pixels import PixelKind

USB_BUDGET_A: Final = 0.45  # of the 0.5 A of a configured device a tenth is kept back
USB_INRUSH_UF: Final = 10.0
BOARD_A: Final = 0.060
PIXEL_CAPACITOR_UF: Final = 0.1
CHAIN_CAPACITOR_UF: Final = 1000.0
SERIES_OHM: Final = (300, 500)
LONGEST_UNBUFFERED_M: Final = 1.0  # common practice, no source


@dataclass(frozen=True, slots=True)
class LogicLevel:
    """Data level against the first pixel's threshold. V; margin_volt below 0 means not read reliably."""

    needed_volt: float
    drive_volt: float
    supply_volt: float
    reads_high: bool
    largest_supply_volt: float | None  # the pixel supply up to which this drive would do, if that depends on it
    advice: str

    @property
    def margin_volt(self) -> float:
        """Drive minus threshold."""
        return self.drive_volt - self.needed_volt


def logic_level(kind: PixelKind, *, drive_volt: float, supply_volt: float) -> LogicLevel:
    """Compare the board's data level with VIH of the first pixel at its own supply voltage [1]."""
    require_positive(drive_volt, what="data level in V")
    require_positive(supply_volt, what="pixel supply in V")
    needed = kind.high_threshold_volt(supply_volt=supply_volt)
    reads = drive_volt >= needed
    largest: float | None = None
    if kind.input_high_fraction is not None:
        largest = drive_volt / kind.input_high_fraction
    if reads:
        advice = f"{drive_volt:g} V data is enough: {kind.name} needs {needed:.2f} V at {supply_volt:.2f} V."
    else:
        advice = (
            f"{drive_volt:g} V data is too low: {kind.name} needs {needed:.2f} V at {supply_volt:.2f} V. "
            "Put a 5 V buffer of the HCT or AHCT family in the data wire"
        )
        if largest is not None and largest >= max(kind.low_line_volt, kind.lowest_volt):
            advice += f", or feed the first pixel with {math.floor(largest * 10 + 1e-9) / 10:.1f} V at most"
        advice += "."
    return LogicLevel(
        needed_volt=needed, drive_volt=drive_volt, supply_volt=supply_volt,
        reads_high=reads, largest_supply_volt=largest, advice=advice,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class UsbAlone:
    """What a computer's USB port can carry. `level` is the largest equal white (0 to 255) for all pixels at once, None
    if the dark pixels alone are too much. `inrush_uf` is the capacitance found at plug-in against 10 uF allowed."""

    pixels: int
    idle_a: float
    level: int | None
    one_pixel_level: int | None
    inrush_uf: float
    inrush_ok: bool


def usb_alone(
    kind: PixelKind,
    *,
    pixels: int,
    board_a: float = BOARD_A,
    budget_a: float = USB_BUDGET_A,
    extra_capacitor_uf: float = 0.0,
) -> UsbAlone:
    """Largest levels on USB only [4], floor(255 (budget - board - N idle)/(lit x light)), with all lit and with one."""
    if pixels < 1:
        raise PowerError(f"{pixels} pixels: at least one is needed.")
    require_not_negative(board_a, what="board current in A")
    idle = board_a + pixels * kind.idle_a
    left = budget_a - idle

    def level(lit: int) -> int | None:
        return None if left < 0 else min(255, math.floor(255 * left / (lit * kind.light_a) + 1e-9))

    each = PIXEL_CAPACITOR_UF if kind.wants_capacitor else 0.0
    inrush = pixels * each + extra_capacitor_uf
    return UsbAlone(
        pixels=pixels, idle_a=idle, level=level(pixels), one_pixel_level=level(1),
        inrush_uf=inrush, inrush_ok=inrush <= USB_INRUSH_UF,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reminder:
    """A part to fit: where, what, why."""

    part: str
    why: str


def head_reminders(kind: PixelKind, *, on_usb: bool = False, data_lead_m: float = 0.0) -> tuple[Reminder, ...]:
    """Parts for the head of a chain of this kind [2][3][4][5]."""
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
