"""How the game's lamp outputs are sensed: one circuit for each kind of lamp drive, with values, watts and what to measure first.

Every circuit ends in an optocoupler, so that nothing of the game's supplies reaches the board: the LED side belongs to the
game, the transistor side to the board, with a pull-up to its 5 V. A lamp that is on makes the board's pin low.

Values are worked for 60 and 50 Hz and 6.3 V lamps (8.91 V peak). Sources, by the letter in `Fact.source`:
  D   makers' data sheets: 2N5060 and MCR106 (holding current 5 mA at most at 25 C, 10 mA at -40 C), C106 (3 mA; typical
      0.19), PC817 class (50 % at 5 mA, 6 V reverse, 50 mA), PC814 class (a.c. input, 20 % at 1 mA), ATmega328 class pins.
  V   worked from those.
  M   from memory, no source read: so marked wherever it is shown.
  CP  common practice, no source.
The tests hold each circuit against an outside circuit simulator with its worst values.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final
from xml.sax.saxutils import escape

from probe.document.model import Kind, PlayfieldMap

LED_VOLT: Final = 1.2  # of an optocoupler, 1.4 at most (D)
DIODE_VOLT: Final = 0.7
BRIDGE_VOLT: Final = 1.4
MAINS_HIGH: Final = 1.2  # lightly loaded and 10 % up (M)
HOLDING_A: Final = 0.005  # of the 5 mA switches at 25 C (D)
TRANSFER_WORST: Final = 0.25  # 50 % at 5 mA, halved for age (D, M)
PIN_LOW_VOLT: Final = 1.5  # ATmega328 class at 5 V (D)
BOARD_VOLT: Final = 5.0


class Drive(StrEnum):
    """The kinds of lamp drive."""

    LATCHED = "latched switches on rectified 6 V a.c."
    MATRIX = "strobed matrix of 8 by 8 on 18 V"
    FLASHER = "flashers on the coil supply"
    HALF_WAVE = "two sets of lamps on opposite half-waves"
    RELAY = "general illumination switched by a relay"


class Wave(StrEnum):
    """What the supply does while a lamp is on."""

    HUMPS = "rectified, not smoothed"
    HALF = "half-waves"
    SINE = "a.c."
    STROBED = "d.c., one eighth of the time"
    STEADY = "d.c."


@dataclass(frozen=True, slots=True)
class Fact:
    """A sentence and where it comes from: D, V, M or CP."""

    text: str
    source: str

    def __str__(self) -> str:
        words = {"M": " [M: from memory, no source read]", "CP": " [common practice, no source]"}
        return self.text + words.get(self.source, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class SensingCircuit:
    """A circuit for one kind of drive.

    `peak_volt`: at the input in use; `drops_volt`: lost in bridge, driver and diodes beside the optocoupler's LED. `ohm` and
    `rated_w`: the resistor. `series_diode`, `across_diode`: 1N4148 in series with the LED, and the other way round across it.
    `ac_input`: two LEDs, one for each direction. `pull_up_ohm`: at the board. `holds`: the sensing current also keeps the
    game's switch on. `hold_on_ms`: for the board's `linger`.
    """

    drive: Drive
    wave: Wave
    peak_volt: float
    most_volt: float
    drops_volt: float
    ohm: float
    rated_w: float
    coupler: str
    series_diode: bool
    across_diode: bool
    ac_input: bool = False
    pull_up_ohm: float = 10_000.0
    holds: bool = False
    hold_on_ms: int
    top: str
    bottom: str
    load: str
    notes: tuple[Fact, ...]
    measure: tuple[str, ...]

    def peak_a(self, *, volt: float | None = None, ohm_factor: float = 1.0, led_volt: float = LED_VOLT) -> float:
        """Current in the LED at the crest, A."""
        v = (self.peak_volt if volt is None else volt) - self.drops_volt - led_volt
        return max(0.0, v) / (self.ohm * ohm_factor)

    def dissipation_w(self, *, volt: float | None = None, stuck: bool = False) -> float:
        """Heat in the resistor, W: as the wave has it, or with a driver that is stuck on."""
        crest = self.peak_a(volt=volt)
        share = {Wave.STEADY: 1.0, Wave.STROBED: 1.0 if stuck else 1 / 8}.get(self.wave)
        if share is not None:
            return crest**2 * self.ohm * share
        v = self.peak_volt if volt is None else volt
        steps = 2_000
        off = self.drops_volt + LED_VOLT
        mean = sum(max(0.0, v * math.sin(math.pi * (k + 0.5) / steps) - off) ** 2 for k in range(steps)) / steps
        return mean / self.ohm * (0.5 if self.wave is Wave.HALF else 1.0)

    def below_ms(
        self, current_a: float, *, hertz: int = 60, volt: float | None = None, led_volt: float = LED_VOLT
    ) -> float:
        """How long in every half-cycle the current is below a value, ms: about each zero of the supply.

        The whole half-cycle where the crest does not reach it. 0 for d.c. Raises ValueError for no frequency.
        """
        if hertz <= 0:
            raise ValueError(f"{hertz} Hz: above 0")
        if self.wave in (Wave.STEADY, Wave.STROBED):
            return 0.0
        v = self.peak_volt if volt is None else volt
        need = (current_a * self.ohm + self.drops_volt + led_volt) / v
        return 1000 / (2 * hertz) if need >= 1 else 1000 * math.asin(need) / (math.pi * hertz)

    def collector_a(self, *, volt: float | None = None) -> float:
        """What the transistor can carry at the crest, with the least transfer and age, A."""
        transfer = 0.20 / 2 if self.ac_input else TRANSFER_WORST
        return self.peak_a(volt=volt, ohm_factor=1.05, led_volt=1.4) * transfer

    @property
    def pull_up_a(self) -> float:
        """What it has to carry for a sure low."""
        return (BOARD_VOLT - PIN_LOW_VOLT) / self.pull_up_ohm

    def values(self) -> tuple[tuple[str, str], ...]:
        """What to fit: part and value."""
        found = [
            ("resistor", f"{ohms(self.ohm)}, {watts(self.rated_w)}"),
            ("optocoupler", self.coupler),
        ]
        if self.series_diode:
            found.append(("diode in series", "1N4148, in the direction of the LED"))
        if self.across_diode:
            found.append(("reverse diode", "1N4148 across the LED, the other way round"))
        found += [
            ("pull-up at the board", f"{ohms(self.pull_up_ohm)} to the board's 5 V (the chip's own are 20 to 50 kΩ; shift registers have none)"),
            ("holding load", self.load),
            ("hold-on time", f"linger {self.hold_on_ms} ms"),
            ("LED current at the crest", f"{1000 * self.peak_a():.1f} mA, at most {1000 * self.peak_a(volt=self.most_volt):.1f} mA"),
            ("heat in the resistor", f"{1000 * self.dissipation_w():.0f} mW; driver stuck on and supply high "
                f"{1000 * self.dissipation_w(volt=self.most_volt, stuck=True):.0f} mW"),
        ]  # fmt: skip
        return tuple(found)


def ohms(value: float) -> str:
    """`470 Ω`, `2.7 kΩ`."""
    return f"{value / 1000:g} kΩ" if value >= 1000 else f"{value:g} Ω"


def watts(value: float) -> str:
    """`1/4 W`."""
    return {0.25: "1/4 W", 0.5: "1/2 W"}.get(value, f"{value:g} W")


CAUTIONS: Final = (
    "Game off and unplugged while wires are joined; wait until stored charge is gone, and measure that it is.",
    "The coil supply can kill lamps, boards and people: 20 to 70 V with amperes behind it. Keep a hand away, one wire at a time.",
    "Anything on the mains side of the transformer, and the transformer itself, is for a qualified person.",
    "Ground of the game and ground of the board are joined nowhere in these circuits. Do not join them.",
    "Fit the resistor at the game's end of the wire, so that a chafed wire shorts nothing.",
    "Try one lamp, and look after ten minutes for heat, before any other.",
)

_A_COUPLER: Final = "PC817 class, grade B or better"

CIRCUITS: Final[dict[Drive, SensingCircuit]] = {
    circuit.drive: circuit
    for circuit in (
        SensingCircuit(
            drive=Drive.LATCHED, wave=Wave.HUMPS, peak_volt=8.91, most_volt=8.91 * MAINS_HIGH,
            drops_volt=BRIDGE_VOLT + 0.8, ohm=470.0, rated_w=0.25, coupler=_A_COUPLER, series_diode=False,
            across_diode=True, holds=True, hold_on_ms=25,
            top="lamp supply, rectified 6 V", bottom="lamp output: anode of the switch",
            load="the resistor and the LED are the load: with the bulb out they hold a 5 mA switch",
            notes=(
                Fact("The switch drops out at every zero of the supply, also with a bulb: it is gated again each half-cycle. "
                     "With the bulb out it is off for 3.7 ms of 8.3 (60 Hz), 4.5 of 10 (50 Hz): hence the hold-on time.", "V"),
                Fact("1 kΩ does not hold a worst switch: 60 % of every half-cycle dark, and a 10 mA one never. 470 Ω does.", "V"),
                Fact("A switch that holds at 0.19 mA is typical where 3 to 5 mA is allowed: one on the bench proves nothing for "
                     "sixty.", "D"),
                Fact("Do not sense with a divider and one sample: a dark lamp reads as lit 45 % of the time. If it must be a "
                     "divider (10 kΩ over 22 kΩ), sample at 1 kHz or more: any high within 12 ms means off.", "V"),
                Fact("More than 16 of them: a chain of 74HC165 shift registers on three pins of the board (build PP_AVR_SHIFT), eight "
                     "inputs each, 10 kΩ to 5 V at every one: they have no pull-up of their own.", "D"),
                Fact("Where the game refreshes on every second half-cycle set linger 45.", "M"),
            ),
            measure=(
                "a.c. and d.c. volts from supply to ground, lamps on: about 6 V, and ripple down to zero",
                "d.c. volts at the output, lamp on (below 1.5 V) and off",
                "which pins of the connector carry the supply",
                "with the bulb out: does the state still read? Only then choose the resistor",
            ),
        ),
        SensingCircuit(
            drive=Drive.MATRIX, wave=Wave.STROBED, peak_volt=18.0, most_volt=20.0, drops_volt=2.0 + DIODE_VOLT, ohm=2_700.0,
            rated_w=0.25, coupler=_A_COUPLER, series_diode=True, across_diode=True, hold_on_ms=40,
            top="column (18 V while strobed)", bottom="row (pulled to ground)",
            load="2.2 kΩ, 1/4 W from column to row where bulbs are out, or rows float and ghosts come",
            notes=(
                Fact("One for each lamp that matters: column and row at the same instant, by itself. Eight on columns and eight on "
                     "rows do for all 64 with the board's matrix build.", "V"),
                Fact("A reversed LED sees up to 18 V and stands 6: both diodes.", "D"),
                Fact("Turning off takes 100 to 250 µs with 10 kΩ: so long after the strobe's edge the lamp of the column before is seen "
                     "at this one.", "M"),
                Fact("The board counts a lamp when two looks see it, both more than 300 µs after its column came: such ghosts are in "
                     "neither. Columns shorter than 0.4 ms are too short for it.", "V"),
                Fact("A strobe that sticks puts 18 V on a 6.3 V bulb: eight times its power. Never stop the game with a lamp "
                     "selected.", "V"),
                Fact("A lamp dimmed by the game to half wants linger 80.", "CP"),
            ),
            measure=(
                "d.c. mean at a column: about 2.2 V while it strobes, 18 V if it is stuck",
                "the peak with a scope or a meter that holds peaks",
                "which side is switched: columns high, rows low",
                "that the strobe is alive, before anything is joined",
            ),
        ),
        SensingCircuit(
            drive=Drive.FLASHER, wave=Wave.STEADY, peak_volt=50.0, most_volt=60.0, drops_volt=1.0, ohm=10_000.0, rated_w=0.5,
            coupler=_A_COUPLER, series_diode=False, across_diode=True, pull_up_ohm=22_000.0, hold_on_ms=50,
            top="coil supply, 20 to 50 V", bottom="driver (low while it flashes)",
            load="none: the flasher's own bulb; with the bulb out the circuit still reads",
            notes=(
                Fact("10 kΩ from 20 to 50 V; above, to 70 V: 15 kΩ, 1/2 W. Rated for a driver that is stuck on.", "V"),
                Fact("With 20 V the LED has 1.8 mA: pull-up of 22 kΩ, not 10.", "V"),
                Fact("Optocoupler only, no divider: a coil on the same driver without its diode kicks above 100 V.", "M"),
                Fact("A flash of 20 ms is stretched to 50 by the hold-on time, or a refresh could miss it.", "V"),
            ),
            measure=(
                "d.c. volts from coil supply to ground, the fuse in, lamps out",
                "a diode across each coil: present, and its bar at the supply",
                "d.c. volts at the driver, at rest: the full supply",
            ),
        ),
        SensingCircuit(
            drive=Drive.HALF_WAVE, wave=Wave.HALF, peak_volt=12.6, most_volt=12.6 * MAINS_HIGH, drops_volt=DIODE_VOLT + 0.8,
            ohm=1_500.0, rated_w=0.25, coupler=f"{_A_COUPLER}; one for each direction", series_diode=True, across_diode=True,
            hold_on_ms=45,
            top="lamp's side of its half-wave diode", bottom="return",
            load="none needed; where a switch must hold, 470 Ω, 1 W across the lamp",
            notes=(
                Fact("One optocoupler with its series diode for each direction: one with two LEDs cannot tell which lamp is on.", "V"),
                Fact("The other half reverses it with 12.6 V, 15 with a high supply: both diodes are needed.", "V"),
                Fact("A third one on the secondary itself tells the phase; look at the crest, 4.2 ms (60 Hz) or 5 ms after the "
                     "zero.", "V"),
                Fact("Lamps of two sets share a wire, each through its own diode.", "M"),
            ),
            measure=(
                "a scope, or two meters: +4.0 V and -4.0 V d.c. mean say which wire carries which half",
                "a.c. volts of the secondary: about 8.9",
                "each lamp's diode with the meter's diode range, lamp out",
            ),
        ),
        SensingCircuit(
            drive=Drive.RELAY, wave=Wave.SINE, peak_volt=8.91, most_volt=8.91 * MAINS_HIGH, drops_volt=0.0, ohm=1_000.0,
            rated_w=0.25, coupler="PC814 class, a.c. input", series_diode=False, across_diode=False, ac_input=True,
            hold_on_ms=25,
            top="one side of the lamp string, behind the relay", bottom="the other side",
            load="none: switched by a contact, which holds by itself",
            notes=(
                Fact("Isolated on purpose: one side of the string may be grounded in one game and floating in the next.", "M"),
                Fact("The LED is dark for 1.3 ms (60 Hz), 1.6 ms (50 Hz) at each zero: hold-on 25 ms; with a plain optocoupler "
                     "and a reverse diode 45.", "V"),
                Fact("A dimmed string makes pulses narrower: measure their width, do not just look for them.", "CP"),
                Fact("One input switches the whole string: a row of the lamp list of kind general, with the input's number and the "
                     "group of its places.", "V"),
            ),
            measure=(
                "a.c. volts across the string, and from each side to ground",
                "that the relay clicks, and which string follows it",
                "the fuse and connector of the string: 40 bulbs were 10 A",
            ),
        ),
    )
}  # fmt: skip


# -- drawing ------------------------------------------------------------------------------------------------------

_WIDE, _HIGH = 660, 350


def circuit_svg(circuit: SensingCircuit, *, titled: bool = True) -> str:
    """The circuit drawn: the game's side at the left, the board's at the right, nothing between them but light.

    `titled`: the drive's name above it; a page that has it as heading wants it once.
    """
    d = _Drawing()
    if titled:
        d.text(20, 24, circuit.drive.value, bold=True)
    d.rail(60, circuit.top)
    d.rail(300, circuit.bottom)
    d.lamp(90, 60, 300, "lamp")
    x = 250
    d.line(x, 60, x, 80)
    d.resistor(x, 80, f"R {ohms(circuit.ohm)}", watts(circuit.rated_w))
    y = 130
    if circuit.series_diode:
        d.diode(x, y, "1N4148")
        y += 40
    else:
        d.line(x, y, x, y + 40)
        y += 40
    d.line(x, y, x, y + 20)
    d.diode(x, y + 20, "")
    if circuit.across_diode or circuit.ac_input:
        d.line(x, y + 14, x - 44, y + 14)
        d.line(x - 44, y + 14, x - 44, y + 20)
        d.diode(x - 44, y + 20, "" if circuit.ac_input else "1N4148", up=True, left=True)
        d.line(x - 44, y + 60, x - 44, y + 66)
        d.line(x - 44, y + 66, x, y + 66)
    d.line(x, y + 60, x, 300)
    inside = x - 60 if circuit.ac_input else x - 16
    d.box(inside, y + 8, 384 - inside, 64, circuit.coupler.split(";")[0].split(",")[0])
    for k in (0, 12):
        d.line(x + 26, y + 32 + k, x + 62, y + 32 + k, arrow=True)
    t = 350
    d.line(t, y + 20, t, y + 60, wide=True)
    d.line(t, y + 30, t + 24, y + 14)
    d.line(t, y + 50, t + 24, y + 66, arrow=True)
    d.line(t + 24, y + 14, t + 24, 130)
    d.line(t + 24, 130, 545, 130)
    d.text(551, 134, "board's input")
    d.line(470, 130, 470, 124)
    d.resistor(470, 74, ohms(circuit.pull_up_ohm), "pull-up")
    d.line(470, 74, 470, 60)
    d.line(440, 60, 500, 60)
    d.text(506, 64, "board's 5 V")
    d.line(t + 24, y + 66, t + 24, 300)
    d.line(t + 4, 300, t + 44, 300, wide=True)
    d.text(t + 52, 304, "board's ground")
    d.text(20, 342, "game's side: its ground is joined to the board's nowhere", small=True)
    return d.svg(circuit.drive.value)


class _Drawing:
    def __init__(self) -> None:
        self.parts: list[str] = []

    def line(self, x1: int, y1: int, x2: int, y2: int, *, wide: bool = False, arrow: bool = False) -> None:
        extra = ' stroke-width="3"' if wide else ""
        self.parts.append(f'<polyline points="{x1},{y1} {x2},{y2}"{extra}/>')
        if arrow:
            way = math.atan2(y2 - y1, x2 - x1)
            for side in (2.6, -2.6):
                self.line(x2, y2, round(x2 + 8 * math.cos(way + side)), round(y2 + 8 * math.sin(way + side)))

    def text(self, x: int, y: int, words: str, *, bold: bool = False, small: bool = False, end: bool = False) -> None:
        style = ' font-size="15"' if bold else ""
        style += ' font-size="11"' if small else ""
        style += ' text-anchor="end"' if end else ""
        self.parts.append(f'<text x="{x}" y="{y}"{style}>{escape(words)}</text>')

    def rail(self, y: int, words: str) -> None:
        self.line(40, y, 280, y, wide=True)
        self.text(40, y - 8 if y < 200 else y + 16, words)

    def resistor(self, x: int, y: int, value: str, power: str) -> None:
        self.parts.append(f'<rect x="{x - 9}" y="{y}" width="18" height="50" fill="none"/>')
        self.text(x + 16, y + 22, value)
        self.text(x + 16, y + 38, power, small=True)

    def diode(self, x: int, y: int, words: str, *, up: bool = False, left: bool = False) -> None:
        """40 high; its current flows down, or up."""
        tip, base = (y + 12, y + 28) if up else (y + 28, y + 12)
        self.line(x, y, x, y + 40)
        self.parts.append(f'<polygon points="{x - 9},{base} {x + 9},{base} {x},{tip}"/>')
        self.line(x - 9, tip, x + 9, tip)
        if words:
            self.text(x - 14 if left else x + 16, y + 24, words, end=left)

    def lamp(self, x: int, top: int, bottom: int, words: str) -> None:
        middle = (top + bottom) // 2
        self.line(x, top, x, middle - 14)
        self.parts.append(f'<circle cx="{x}" cy="{middle}" r="14" fill="none"/>')
        self.line(x - 10, middle - 10, x + 10, middle + 10)
        self.line(x - 10, middle + 10, x + 10, middle - 10)
        self.line(x, middle + 14, x, bottom)
        self.text(x - 20, middle + 4, words, end=True)

    def box(self, x: int, y: int, width: int, height: int, words: str) -> None:
        self.parts.append(
            f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="none" stroke-dasharray="4 3"/>'
        )
        self.text(x + width + 6, y + height - 6, words, small=True)

    def svg(self, title: str) -> str:
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" viewBox="0 0 {_WIDE} {_HIGH}" role="img" '
            f'font-family="sans-serif" font-size="13"><title>{escape(title)}</title>'
            f'<rect width="{_WIDE}" height="{_HIGH}" fill="#fff"/>'
            f'<g stroke="#000" stroke-width="1.5" fill="#000">{"".join(p for p in self.parts if not p.startswith("<text"))}</g>'
            f'<g fill="#000">{"".join(p for p in self.parts if p.startswith("<text"))}</g></svg>\n'
        )


def drives_of(map_: PlayfieldMap) -> tuple[Drive, ...]:
    """The drives that the lamp list speaks of: rows and columns, flashers, general illumination, and numbers alone, which
    may be latched switches or half-waves (measuring tells)."""
    found = set()
    for lamp in map_.lamps:
        if lamp.kind is Kind.FLASHER:
            found.add(Drive.FLASHER)
        elif lamp.kind is Kind.GENERAL or lamp.number is None:
            found.add(Drive.RELAY)
        elif lamp.row is not None and lamp.column is not None:
            found.add(Drive.MATRIX)
        else:
            found |= {Drive.LATCHED, Drive.HALF_WAVE}
    return tuple(drive for drive in Drive if drive in found)


def circuit_lines(circuit: SensingCircuit) -> tuple[str, ...]:
    """The sheet of one circuit as lines: values, notes, what to measure first."""
    return (
        *(f"{part}: {value}" for part, value in circuit.values()),
        *(str(note) for note in circuit.notes),
        *(f"measure first: {words}" for words in circuit.measure),
    )


def guide_page() -> str:
    """The guide's page of all circuits, with a picture of each beside it."""
    parts = [
        "# Circuits: sensing the game's lamp outputs",
        "",
        "One for each kind of lamp drive. Find out first which kind a lamp has: the schematic says it, and what is measured "
        "first confirms it.",
        "",
        *(f"- {words}" for words in CAUTIONS),
        "",
        "The sheet for the cabinet holds those that the lamp list speaks of, drawn:",
        "",
        "```console",
        "$ playfield-probe sheet kelp_forest.json -o sheet.html",
        "…",
        '$ grep -o "Circuits at the game" sheet.html',
        "Circuits at the game",
        "```",
    ]
    for circuit in CIRCUITS.values():
        name = circuit.drive.name.lower()
        parts += ["", f"## {circuit.drive.value[:1].upper()}{circuit.drive.value[1:]}", ""]
        parts += [f"![{circuit.drive.value}](circuits/{name}.svg)", ""]
        parts += [f"- {line}" for line in circuit_lines(circuit)]
    return "\n".join(parts) + "\n"


def write_guide(folder: str) -> None:
    """Write page and pictures anew into the guide's folder: `python -m probe.game.circuits probe/guide`."""
    from pathlib import Path

    at = Path(folder)
    (at / "circuits.md").write_text(guide_page(), encoding="utf-8", newline="\n")
    (at / "circuits").mkdir(exist_ok=True)
    for circuit in CIRCUITS.values():
        name = circuit.drive.name.lower()
        (at / "circuits" / f"{name}.svg").write_text(circuit_svg(circuit), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    import sys

    write_guide(sys.argv[1])
