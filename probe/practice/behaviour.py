"""What a model wiring shows and measures.

Volts by a resistive ladder with loads that follow them, data chip by chip from the byte stream. It knows nothing of the
fault finder's tables, so that these can be tried against it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from device_protocol.values import DARK, Colour
from probe.patterns.chips import stream
from probe.patterns.pictures import Picture
from probe.practice.wiring import Chip, ChipOutput, Flex, ModelJoint, ModelWiring, Plug

TINT_V = 4.1
"""Below it blue and green fade and white looks yellow or red (forward voltage plus driver: from memory)."""
HIGHEST_V = 5.3
"""WS2812B sheet: upper limit of the supply."""
HIGH_SHARE = 0.7
"""WS2812B sheet: a 1 has to reach 0.7 VDD."""
CHANNEL_A = 0.016
CLAMP_OHM = 0.12
"""Pixels fed backwards conduct from GND to VDD through their substrate diodes, many side by side: about 0.8 V at some
amperes, taken as a resistance (electronics, no source)."""
CLAMP_V = 0.8
PIN_OHM = 40.0
"""A data pin that carries a rail's current: its driver's resistance (CMOS outputs of some 10 mA: from memory)."""
PIN_DIODE_V = 0.6
"""A data pin above VDD feeds the chip through its protection diode (electronics, no source)."""
IDLE_A = 0.001
LEAK_OHM = 10_000.0
"""What a chip's own leak and capacitor discharge come to below the volts at which it works (from memory)."""
LONG_LEAD_M = 1.5
LONG_GAP_M = 1.0


@dataclass(frozen=True, kw_only=True)
class Now:
    """The circumstances of a look: which joint is touched, whether the chain is warm, whether an earthed charger is plugged
    in, whether coils fire."""

    touched: int | None = None
    warm: bool = False
    charger: bool = False
    coils: bool = False


REST = Now()


@dataclass(frozen=True)
class RailVolts:
    """Volts between 5 V and GND at each pixel, GND lift at each pixel, current through each joint; at the board; at the
    feed. `collapsed`: the supply gave up."""

    volts: NDArray[np.float64]
    lift: NDArray[np.float64]
    joint_a: NDArray[np.float64]
    board_v: float
    collapsed: bool


class Quality(StrEnum):
    """What arrives at a DIN."""

    GOOD = "good"
    WILD = "wild"
    NONE = "none"


@dataclass(frozen=True)
class Signal:
    """Data at one pin: its quality and the bytes still to be used."""

    quality: Quality
    data: bytes = b""


_SILENT = Signal(Quality.NONE)


@dataclass(frozen=True)
class SeenPixel:
    """What the eye gets from one pixel. `steady` False: flicker or wrong colours that come and go."""

    colour: Colour
    steady: bool = True
    tinted: bool = False

    @property
    def dark(self) -> bool:
        """Nothing lights there."""
        return self.steady and self.colour.is_dark


@dataclass(frozen=True)
class SeenChain:
    """What the eye gets from the chain: each pixel, the other chain, whether the board restarted."""

    pixels: tuple[SeenPixel, ...]
    other_chain_lit: bool = False
    restarted: bool = False
    pulsing: bool = False
    near_white: bool = False


def rails(wiring: ModelWiring, picture: Picture) -> RailVolts:
    """Volts along the chain for a picture: a ladder of joint resistances, chips as currents that fade below 3.5 V.

    The two rails are taken as one loop, which is exact for one feed.
    """
    count = wiring.count
    if wiring.head.plug is Plug.FIVE_GROUND:
        zero = np.zeros(count)
        return RailVolts(zero - 0.7, zero, zero, wiring.supply.volts, collapsed=True)
    loop = np.array([j.five_ohm + j.ground_ohm + _pin_ohm(j) for j in wiring.joints])
    wanted = np.array([IDLE_A + CHANNEL_A * c.total / 255 for c in _cut(picture, count)])
    supply = wiring.supply.volts if wiring.supply.fuse_ok else 0.0
    volts = np.full(count, supply)
    for _ in range(40):
        before = volts
        volts, total = _ladder(wiring, loop, wanted, volts, supply)
        if total > wiring.supply.limit_a:
            supply *= max(0.3, 0.98 * wiring.supply.limit_a / total)
        elif float(np.abs(volts - before).max()) < 1e-6:
            break
    collapsed = wiring.supply.fuse_ok and supply < 0.9 * wiring.supply.volts
    feed = supply - total * wiring.supply.source_ohm
    upstream = np.concatenate([[feed], volts[:-1]])
    joint_a = (upstream - volts) / loop
    lift = np.cumsum(joint_a * np.array([j.ground_ohm for j in wiring.joints]))
    if wiring.reversed_from is not None:
        volts[wiring.reversed_from :] = -min(CLAMP_V, float(volts[wiring.reversed_from]))
    for at, joint in enumerate(wiring.joints):
        if joint.crossed is Plug.DATA_FIVE:
            volts[at:] = np.maximum(0.0, volts[at:] - PIN_DIODE_V)
    if wiring.head.plug is Plug.DATA_FIVE:
        volts = np.full(count, 3.0 * wiring.chance)
    board_v = feed - wiring.head.board_ohm * total if wiring.supply.kind != "own" else 5.0
    return RailVolts(volts, lift, joint_a, board_v, collapsed)


def _pin_ohm(joint: ModelJoint) -> float:
    """What a data pin adds where it carries a rail: data and GND, or data and 5 V crossed."""
    return PIN_OHM if joint.crossed in (Plug.DATA_GROUND, Plug.DATA_FIVE) else 0.0


def _cut(picture: Picture, count: int) -> Picture:
    return (*picture[:count], *((DARK,) * (count - len(picture))))


def _ladder(
    wiring: ModelWiring,
    loop: NDArray[np.float64],
    wanted: NDArray[np.float64],
    volts: NDArray[np.float64],
    supply: float,
) -> tuple[NDArray[np.float64], float]:
    """One step of the computation: loads as conductances at the last volts. Returns volts and the supply's current."""
    count = len(loop)
    series = loop.copy()
    series[0] += wiring.supply.source_ohm
    joint = 1.0 / series
    fades = np.clip((volts - 2.0) / 1.5, 0.0, 1.0)
    load = wanted * fades / np.maximum(volts, 0.5)
    if (cut := wiring.cut_off_from) is not None:  # nothing feeds what is behind, not even a data pin: it runs empty
        load[cut:] += 1.0 / LEAK_OHM
    if wiring.supply.short_at is not None:
        load[wiring.supply.short_at] += 1.0 / wiring.supply.short_ohm
    if wiring.reversed_from is not None:
        load[wiring.reversed_from] += 1.0 / CLAMP_OHM
        load[wiring.reversed_from + 1 :] = 0.0
    own = joint + load
    own[:-1] += joint[1:]
    matrix = np.diag(own) - np.diag(joint[1:], 1) - np.diag(joint[1:], -1)
    injected = np.zeros(count)
    injected[0] = joint[0] * supply
    if wiring.supply.far_feed and wiring.supply.far_fuse_ok and wiring.supply.far_ground_ok:
        matrix[-1, -1] += 1.0 / 0.03
        injected[-1] += supply / 0.03
    found = np.linalg.solve(matrix, injected)
    return 0.3 * volts + 0.7 * found, float((load * found).sum())


def shares_ground(wiring: ModelWiring, now: Now = REST) -> bool:
    """Whether board and pixels share ground just now."""
    if wiring.head.ground_loose and (wiring.chance < 0.3 or now.touched == 0):
        return False
    return wiring.head.common_ground or (wiring.head.ground_by_charger and now.charger)


def head_signal(wiring: ModelWiring, picture: Picture, first_v: float, now: Now = REST) -> Signal:
    """What arrives at the first pixel's DIN."""
    head, settings = wiring.head, wiring.settings
    if not head.answers or not head.output_ok or not head.on_set_output or head.crossed or head.from_end:
        return _SILENT
    if head.plug is not Plug.RIGHT or head.data_open:
        return _SILENT
    data = stream(picture[: settings.count], settings.order)
    grounded = shares_ground(wiring, now)
    if head.resistor_ohm > 20_000 or (not grounded and wiring.chance < 0.35):
        return _SILENT if wiring.chance < 0.3 or not grounded else Signal(Quality.WILD, data)
    if not grounded or settings.khz != wiring.chips[0].khz or settings.latch_us < wiring.chips[0].latch_us:
        return Signal(Quality.WILD, data)
    ringing = head.resistor_ohm < 100 and head.lead_m > 0.3
    if (head.lead_m > LONG_LEAD_M and not head.paired) or ringing:
        return Signal(Quality.WILD, data)
    high_v = wiring.chips[0].high_v
    if head.logic_v < (HIGH_SHARE * first_v if high_v is None else high_v):
        return Signal(Quality.WILD, data) if head.logic_v > 0.5 * first_v and wiring.chance > 0.1 else _SILENT
    if (wiring.game.coil_noise and now.coils) or (head.ground_loop and now.charger):
        return Signal(Quality.WILD, data)
    return Signal(Quality.GOOD, data)


def first_only(wiring: ModelWiring) -> bool:
    """Whether a poor level or ringing at the head troubles the first chip's own bits only: it re-times what it passes
    on, so half of such cases do."""
    head = wiring.head
    if not (head.common_ground or head.ground_by_charger) or wiring.settings.khz != wiring.chips[0].khz:
        return False
    if wiring.settings.latch_us < wiring.chips[0].latch_us or (wiring.game.coil_noise):
        return False
    return wiring.chance > (0.65 if head.lead_m > LONG_LEAD_M or head.resistor_ohm > 20_000 else 0.5)


@dataclass(frozen=True)
class Data:
    """Signals at every DIN and every DOUT pad."""

    at_din: tuple[Signal, ...]
    at_dout: tuple[Signal, ...]


def _joint_passes(wiring: ModelWiring, number: int, now: Now) -> bool:
    joint = wiring.joints[number]
    if joint.data_ohm > 1_000 or joint.data_rail or joint.crossed is not Plug.RIGHT:
        return False
    moving = joint.flex in (Flex.DATA_OPENS, Flex.DATA_SHORTS)
    return not (moving and (joint.open_at_rest or now.touched == number))


def data_path(wiring: ModelWiring, picture: Picture, at: RailVolts, now: Now = REST) -> Data:
    """Data at every pin: each chip takes its bytes and passes the rest, if it has volts and data and is sound."""
    taps = {target: source for source, target in wiring.data_taps}
    din: list[Signal] = []
    dout: list[Signal] = []
    for number, chip in enumerate(wiring.chips):
        held = chip.input_low  # it has burnt through and holds its wire down, a jumper's other end with it
        arriving = _SILENT if held else _arriving(wiring, picture, at, now, number, taps, din, dout)
        din.append(arriving)
        dout.append(_leaving(wiring, at, now, number, chip, arriving))
    return Data(tuple(din), tuple(dout))


def _arriving(
    wiring: ModelWiring,
    picture: Picture,
    at: RailVolts,
    now: Now,
    number: int,
    taps: dict[int, int],
    din: list[Signal],
    dout: list[Signal],
) -> Signal:
    if number in taps:
        return _SILENT if wiring.joints[number].data_rail else din[taps[number]]
    if number == wiring.passed_by or wiring.chips[number].backwards:
        return _SILENT
    if number == 0:
        signal = head_signal(wiring, picture, float(at.volts[0]), now) if _joint_passes(wiring, 0, now) else _SILENT
        leaks = wiring.joints[0].leaks and signal.quality is Quality.GOOD
        return Signal(Quality.WILD, signal.data) if leaks else signal
    before = number - 1
    if before == wiring.passed_by:
        return dout[before - 1] if before else head_signal(wiring, picture, float(at.volts[0]), now)
    if wiring.teed == number or wiring.chips[before].backwards:
        return din[before]
    joint = wiring.joints[number]
    signal = dout[before]
    if not _joint_passes(wiring, number, now):
        scratches = joint.open_at_rest and now.touched != number and wiring.chance > 0.6
        return Signal(Quality.WILD, signal.data) if scratches and signal.quality is Quality.GOOD else _SILENT
    lifted = at.lift[number] - at.lift[before]
    disturbed = (
        joint.metres > LONG_GAP_M
        or joint.leaks
        or joint.ground_apart
        or abs(lifted) > 0.8
        or (wiring.game.coil_noise and now.coils)
    )
    return Signal(Quality.WILD, signal.data) if disturbed and signal.quality is Quality.GOOD else signal


def _leaving(wiring: ModelWiring, at: RailVolts, now: Now, number: int, chip: Chip, arriving: Signal) -> Signal:
    alive = at.volts[number] >= chip.least_v and not chip.unfed and chip.input_ok and not (chip.fails_warm and now.warm)
    if not alive or arriving.quality is Quality.NONE or chip.output is ChipOutput.DEAD:
        return _SILENT
    rest = arriving.data[len(chip.order) :] if chip.address is None else arriving.data
    if chip.output is ChipOutput.WILD or at.volts[number] > HIGHEST_V:
        return Signal(Quality.WILD, rest)
    if number == 0 and arriving.quality is Quality.WILD and first_only(wiring):
        return Signal(Quality.GOOD, rest)
    return Signal(arriving.quality, rest)


def view(wiring: ModelWiring, picture: Picture, now: Now = REST, *, idle: bool = False) -> SeenChain:
    """What is seen while a picture is sent again and again (`idle`: nothing was ever sent since power came)."""
    at = rails(wiring, picture)
    restarts = wiring.head.answers and at.board_v < wiring.head.brownout_v
    data = data_path(wiring, picture, at, now)
    fed = _fed(wiring, now)
    pixels = []
    for number, chip in enumerate(wiring.chips):
        signal = _SILENT if idle or restarts else data.at_din[number]
        volts = float(at.volts[number]) if number < fed else 0.0
        pixels.append(_seen(chip, signal, volts, now, picture))
    other = wiring.head.crossed or (not wiring.head.on_set_output and wiring.head.other_chain_there)
    lit = not all(colour.is_dark for colour in picture) and wiring.head.answers
    # Bits at half speed have long highs: fast chips read nearly all of them as 1.
    slow = wiring.settings.khz < wiring.chips[0].khz and data.at_din[0].quality is Quality.WILD and wiring.chance > 0.25
    return SeenChain(tuple(pixels), other and lit, restarts, at.collapsed, slow and not restarts)


def _seen(chip: Chip, signal: Signal, volts: float, now: Now, picture: Picture) -> SeenPixel:
    if volts < chip.least_v or chip.unfed:
        return SeenPixel(DARK)
    if chip.stuck is not None:
        return SeenPixel(chip.stuck)
    if not chip.input_ok or not chip.lights or (chip.fails_warm and now.warm):
        return SeenPixel(DARK)
    if signal.quality is Quality.NONE:
        return SeenPixel(DARK)
    if signal.quality is Quality.WILD or volts > HIGHEST_V:
        return SeenPixel(Colour(80, 90, 70), steady=False)
    colour = _own(chip, signal.data, picture)
    letters = {
        letter: 0 if letter in chip.dead_colours else level for letter, level in zip("RGBW", colour.levels, strict=True)
    }
    return SeenPixel(Colour(*letters.values()), tinted=volts < TINT_V and len(colour.letters) > 1)


def _fed(wiring: ModelWiring, now: Now) -> int:
    """How many pixels from the board are fed: those before the first loose 5 V joint that is open just now."""
    for at, joint in enumerate(wiring.joints):
        if joint.flex is Flex.FIVE_OPENS and (now.touched == at or joint.open_at_rest):
            return at
    return wiring.count


def _own(chip: Chip, data: bytes, picture: Picture) -> Colour:
    if chip.address is not None:
        return picture[chip.address] if chip.address < len(picture) else DARK
    part = data[: len(chip.order)]
    if len(part) < len(chip.order):
        return DARK
    levels = dict(zip(chip.order, part, strict=True))
    return Colour(*(levels.get(letter, 0) for letter in "RGBW"))
