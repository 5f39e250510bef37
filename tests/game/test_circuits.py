"""The circuits for the game's lamp outputs, against an outside circuit simulator with worst values and against data sheets."""

from __future__ import annotations

import re
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from probe.game.circuits import (
    BOARD_VOLT,
    CIRCUITS,
    HOLDING_A,
    Drive,
    SensingCircuit,
    Wave,
    circuit_lines,
    circuit_svg,
    guide_page,
)
from tests.harness.spice import ngspice_path
from tests.support.examples import first_now

GUIDE = Path(__file__).resolve().parents[2] / "probe" / "guide"
ALL = list(CIRCUITS.values())
DRIVES = [circuit.drive.name for circuit in ALL]
# An LED of 1.2 V at 5 mA, as a diode: Is exp(V / n Vt) with n 1.8; 1N4148 and bridge: 0.7 V at 5 mA with n 1.9.
MODELS = (
    ".model LED D(IS=3.3e-14 N=1.8 RS=1)\n"
    ".model SMALL D(IS=3.1e-9 N=1.9 RS=0.5 BV=100)\n"
    ".model BIG D(IS=3.1e-9 N=1.9 RS=0.05)\n"
)


def simulated(folder: Path, deck: str, *wanted: str) -> np.ndarray:
    """Columns of time and the wanted vectors."""
    out = folder / "out.txt"
    control = f".control\nset wr_singlescale\nset numdgt=9\nrun\nwrdata {out} {' '.join(wanted)}\nquit\n.endc\n.end\n"
    file = folder / "deck.cir"
    file.write_text("circuit\n" + MODELS + deck + control, encoding="ascii")
    done = subprocess.run([ngspice_path(), "-b", str(file)], capture_output=True, text=True, timeout=120, check=False)
    assert out.exists(), done.stdout[-600:] + done.stderr[-600:]
    return np.loadtxt(out)


def led_current(
    circuit: SensingCircuit, folder: Path, *, volt: float, ohm: float, hertz: float = 60.0, stuck: bool = False
) -> np.ndarray:
    """Time and LED current over two cycles, with the driver on."""
    if circuit.wave is Wave.HUMPS:
        source = f"V1 a b SIN(0 {volt} {hertz})\nD1 a p BIG\nD2 b p BIG\nD3 0 a BIG\nD4 0 b BIG\nRx p 0 100k\n"
        low = "Vs k 0 0.8\n"
    elif circuit.wave in (Wave.SINE, Wave.HALF):
        source, low = f"V1 p 0 SIN(0 {volt} {hertz})\n", f"Vs k 0 {0.8 if circuit.wave is Wave.HALF else 0}\n"
    elif circuit.wave is Wave.STROBED and not stuck:
        source, low = f"V1 p 0 PULSE(0 {volt} 1m 1u 1u 2m 16m)\n", "Vs k 0 2.0\n"
    else:
        source, low = f"V1 p 0 {volt}\n", f"Vs k 0 {2.0 if circuit.wave is Wave.STROBED else 1.0}\n"
    led = f"R1 p r {ohm}\n" + ("DS r s SMALL\n" if circuit.series_diode else "Rs r s 1m\n")
    led += "Vm s m 0\nDL m k LED\n" + (
        "DB k m LED\n" if circuit.ac_input else "DA k m SMALL\n" if circuit.across_diode else ""
    )
    span = 2 / hertz if circuit.wave is not Wave.STROBED else 0.032
    return simulated(folder, f"{source}{low}{led}.tran 5u {span}\n", "i(Vm)", "v(m,k)", "v(p,r)")


@pytest.mark.parametrize("circuit", first_now(ALL, now=2), ids=DRIVES)
def test_current_in_the_led_at_the_crest(circuit: SensingCircuit, tmp_path: Path) -> None:
    for volt in (circuit.peak_volt, circuit.most_volt):
        found = led_current(circuit, tmp_path, volt=volt, ohm=circuit.ohm)
        assert float(found[:, 1].max()) == pytest.approx(circuit.peak_a(volt=volt), rel=0.06)
        assert found[:, 1].max() < 0.050  # PC817 sheet: 50 mA at most


@pytest.mark.parametrize("circuit", ALL, ids=DRIVES)
def test_the_led_is_never_reversed_beyond_its_limit(circuit: SensingCircuit, tmp_path: Path) -> None:
    """PC817 sheet: 6 V. A supply the wrong way round, and one end pulled up through other lamps."""
    assert circuit.across_diode or circuit.ac_input
    series = "DS r s SMALL\n" if circuit.series_diode else "Rs r s 1m\n"
    across = "DB k m LED\n" if circuit.ac_input else "DA k m SMALL\n"
    deck = f"V1 0 p {circuit.most_volt}\nR1 p r {circuit.ohm}\n{series}Vm s m 0\nDL m k LED\n{across}Vk k 0 0\n.tran 1m 5m\n"
    found = simulated(tmp_path, deck, "v(m,k)")
    assert float(found[:, 1].min()) > -2.0


@pytest.mark.parametrize("circuit", ALL, ids=DRIVES)
def test_heat_in_the_resistor_with_the_worst_of_everything(circuit: SensingCircuit, tmp_path: Path) -> None:
    """Supply high, resistor 5 % low, driver stuck on: within its rating, with a third to spare in use."""
    found = led_current(circuit, tmp_path, volt=circuit.most_volt, ohm=0.95 * circuit.ohm, stuck=True)
    time, power = found[:, 0], found[:, 1] ** 2 * 0.95 * circuit.ohm
    if circuit.ac_input:
        power = found[:, 3] ** 2 / (0.95 * circuit.ohm)
    mean = float(np.trapezoid(power, time) / (time[-1] - time[0]))
    assert mean < circuit.rated_w
    assert mean == pytest.approx(circuit.dissipation_w(volt=circuit.most_volt, stuck=True), rel=0.15)


@pytest.mark.parametrize("circuit", ALL, ids=DRIVES)
def test_the_boards_pin_goes_low_with_the_worst_coupler(circuit: SensingCircuit, tmp_path: Path) -> None:
    """Least transfer halved by age, LED 1.4 V, resistor 5 % high, least supply: below 1.5 V (ATmega328 class)."""
    least = 20.0 if circuit.drive is Drive.FLASHER else circuit.peak_volt * 0.9
    carries = circuit.collector_a(volt=least)
    assert carries >= circuit.pull_up_a
    deck = (
        f"V1 v 0 {BOARD_VOLT}\nRp v c {circuit.pull_up_ohm}\n"
        f"B1 c 0 I={carries}*min(1,max(0,v(c)/0.2))\n.tran 1u 1m\n"
    )  # fmt: skip
    found = simulated(tmp_path, deck, "v(c)")
    assert float(found[-1, 1]) < 1.5


def test_flashers_with_10_k_at_20_v_are_marginal_with_the_usual_pull_up() -> None:
    circuit = CIRCUITS[Drive.FLASHER]
    assert circuit.pull_up_ohm == 22_000
    assert 1000 * circuit.peak_a(volt=20) == pytest.approx(1.78, abs=0.01)
    assert circuit.collector_a(volt=20) < 1.3 * (BOARD_VOLT - 1.5) / 10_000
    assert circuit.collector_a(volt=20) > 2.5 * circuit.pull_up_a


# Gap of every half-cycle for a 5 mA switch with this load alone (bulb out), ms at 60 and 50 Hz: worked from data sheets
@pytest.mark.parametrize(
    ("ohm", "ms60", "ms50"),
    first_now([(1000, 4.99, 5.99), (470, 2.84, 3.41), (330, 2.37, 2.85), (220, 2.01, 2.42)], now=2, several=True),
)
def test_drop_outs_of_a_latched_switch(ohm: float, ms60: float, ms50: float, tmp_path: Path) -> None:
    from dataclasses import replace

    plain = replace(CIRCUITS[Drive.LATCHED], ohm=float(ohm))
    assert plain.below_ms(HOLDING_A, led_volt=0.0) == pytest.approx(ms60, abs=0.01)
    assert plain.below_ms(HOLDING_A, hertz=50, led_volt=0.0) == pytest.approx(ms50, abs=0.01)
    deck = (
        "V1 a b SIN(0 8.91 60)\nD1 a p BIG\nD2 b p BIG\nD3 0 a BIG\nD4 0 b BIG\nRx p 0 100k\n"
        f"R1 p s {ohm}\nVm s k 0\nVs k 0 0.8\n.tran 2u 33.333m\n"
    )
    found = simulated(tmp_path, deck, "i(Vm)")
    time, current = found[:, 0], found[:, 1]
    off = float(np.trapezoid((current < HOLDING_A).astype(float), time)) * 1000 / 4
    assert off == pytest.approx(ms60, abs=0.25)


# LED current below 1 mA at each zero, ms at 60 and 50 Hz: worked from the values; relay: 1.29 and 1.55 outside, LED at 1.15 V
@pytest.mark.parametrize(
    ("drive", "ms60", "ms50"),
    [(Drive.LATCHED, 2.35, 2.82), (Drive.HALF_WAVE, 1.80, 2.16), (Drive.RELAY, 1.30, 1.57), (Drive.MATRIX, 0, 0)],
)
def test_how_long_the_led_is_dark_at_each_zero(drive: Drive, ms60: float, ms50: float) -> None:
    assert CIRCUITS[drive].below_ms(0.001) == pytest.approx(ms60, abs=0.05)
    assert CIRCUITS[drive].below_ms(0.001, hertz=50) == pytest.approx(ms50, abs=0.05)


def test_1_k_does_not_hold_a_worst_switch_and_470_does() -> None:
    """Peak at least twice the latching current of a 5 mA part; 10 mA (-40 C) never holds on 1 k."""
    from dataclasses import replace

    latched = CIRCUITS[Drive.LATCHED]
    thousand = replace(latched, ohm=1_000.0)
    assert latched.peak_a() > 0.010 > thousand.peak_a()
    assert thousand.below_ms(0.010, led_volt=0.0) == pytest.approx(1000 / 120)
    assert thousand.below_ms(HOLDING_A, led_volt=0.0) / (1000 / 120) == pytest.approx(0.60, abs=0.01)
    assert latched.below_ms(HOLDING_A) == pytest.approx(3.7, abs=0.05)
    assert latched.below_ms(HOLDING_A, hertz=50) == pytest.approx(4.5, abs=0.05)


def test_one_sample_behind_a_divider_is_wrong_for_almost_half_of_the_time() -> None:
    """10 k over 22 k from the anode of a dark lamp: a sure 1 (3.0 V) lasts 4.60 of 8.33 ms; any sample in 12 ms is right."""
    t = (np.arange(100_000) + 0.5) / 100_000 / 120
    pin = np.maximum(0, 8.91 * np.sin(2 * np.pi * 60 * t) - 1.4) * 22 / 32
    sure = float(np.mean(pin >= 3.0))
    assert 1000 * sure / 120 == pytest.approx(4.60, abs=0.03)
    assert 1 - sure == pytest.approx(0.45, abs=0.01)
    notes = " ".join(str(note) for note in CIRCUITS[Drive.LATCHED].notes)
    assert "45 % of the time" in notes


@pytest.mark.parametrize("circuit", ALL, ids=DRIVES)
def test_the_hold_on_time_bridges_the_dark_of_two_half_cycles(circuit: SensingCircuit) -> None:
    for hertz in (50, 60):
        period = {Wave.STROBED: 16.0, Wave.STEADY: 33.3, Wave.HALF: 1000 / hertz}.get(circuit.wave, 500 / hertz)
        assert circuit.hold_on_ms > period + circuit.below_ms(0.001, hertz=hertz)
        assert circuit.hold_on_ms <= 250  # the protocol's most


@pytest.mark.parametrize("circuit", ALL, ids=DRIVES)
def test_the_drawing_shows_every_value(circuit: SensingCircuit) -> None:
    root = ET.fromstring(circuit_svg(circuit).encode())
    words = " ".join(element.text or "" for element in root.iter("{http://www.w3.org/2000/svg}text"))
    assert circuit.drive.value in words
    assert words.count("1N4148") == circuit.series_diode + circuit.across_diode
    diodes = len(list(root.iter("{http://www.w3.org/2000/svg}polygon")))
    assert diodes == 1 + circuit.series_diode + (circuit.across_diode or circuit.ac_input)
    assert re.search(r"R [\d.]+ k?Ω", words)
    assert "pull-up" in words
    assert circuit.top in words
    assert circuit.bottom in words
    values = dict(circuit.values())
    assert values["resistor"].split(",")[0] in words


def test_what_comes_from_memory_says_so_and_cautions_are_there() -> None:
    lines = [line for circuit in ALL for line in circuit_lines(circuit)]
    for circuit in ALL:
        for note in circuit.notes:
            assert note.source in {"D", "V", "M", "CP"}
            assert ("[M: from memory" in str(note)) is (note.source == "M")
            assert ("common practice, no source" in str(note)) is (note.source == "CP")
        assert circuit.measure
    assert any("[M: from memory" in line for line in lines)
    page = guide_page()
    assert "qualified person" in page
    assert page.count("![") == len(Drive)


def test_the_guide_holds_what_is_drawn() -> None:
    assert (GUIDE / "circuits.md").read_text(encoding="utf-8") == guide_page(), (
        "run: python -m probe.game.circuits probe/guide"
    )
    for circuit in ALL:
        file = GUIDE / "circuits" / f"{circuit.drive.name.lower()}.svg"
        assert file.read_text(encoding="utf-8") == circuit_svg(circuit)
