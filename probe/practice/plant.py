"""Faults planted into the model wiring, one function for each cause, with numbers drawn from a seed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from random import Random

from device_protocol.values import Colour
from probe.practice.wiring import OPEN_OHM, Chip, ChipOutput, Flex, GameSide, ModelJoint, ModelWiring, Plug

Planter = Callable[[ModelWiring, Random], tuple[ModelWiring, int | None]]


@dataclass(frozen=True)
class Planted:
    """A wiring with faults in it: which, and for each the pixel after which it sits (-1 before the first, None: no
    place). `after_work`: it began right after work on the wires."""

    wiring: ModelWiring
    causes: tuple[str, ...]
    places: tuple[int | None, ...]
    hot: bool
    after_work: bool


def sound(count: int, rng: Random) -> ModelWiring:
    """A chain without faults, with the small differences of real ones."""
    joints = tuple(
        ModelJoint(
            five_ohm=rng.uniform(0.003, 0.006), ground_ohm=rng.uniform(0.003, 0.006), data_ohm=rng.uniform(0.1, 0.6)
        )
        for _ in range(count)
    )
    wiring = ModelWiring(chips=(Chip(),) * count, joints=joints, chance=rng.random())
    kind = "shared" if rng.random() < 0.2 else "own"
    # Straight 3.3 V with newer chips, and a long lead that is buffered and paired, are common and harmless.
    if rng.random() < 0.33:
        chips = tuple(replace(c, high_v=2.7) for c in wiring.chips)
        wiring = replace(wiring, chips=chips, head=replace(wiring.head, logic_v=3.3))
    long_lead = rng.random() < 0.12
    return replace(
        wiring,
        supply=replace(wiring.supply, kind=kind, volts=rng.uniform(4.95, 5.15)),
        head=replace(
            wiring.head,
            lead_m=rng.uniform(1.6, 2.5) if long_lead else rng.uniform(0.2, 1.2),
            paired=long_lead,
            resistor_ohm=rng.choice([220.0, 330.0, 470.0]),
        ),
        settings=replace(wiring.settings, count=count),
    )


def _k(wiring: ModelWiring, rng: Random) -> int:
    """A place with a few pixels after it."""
    return rng.randrange(0, wiring.count - 6)


def _supply(**changes: object) -> Planter:
    def plant(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
        del rng
        return replace(w, supply=replace(w.supply, **changes)), None  # type: ignore[arg-type]

    return plant


def _head(**changes: object) -> Planter:
    def plant(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
        del rng
        return replace(w, head=replace(w.head, **changes)), -1  # type: ignore[arg-type]

    return plant


def _game(game: GameSide) -> Planter:
    return lambda w, rng: (replace(w, game=game), None)


def _chip(offset: int, **changes: object) -> Planter:
    """Change the chip `offset` pixels after a place k drawn along the chain."""

    def plant(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
        k = _k(w, rng)
        return w.with_chip(k + offset, replace(w.chips[k + offset], **changes)), k  # type: ignore[arg-type]

    return plant


def _joint(**changes: object) -> Planter:
    """Change the joint between a drawn k and k+1."""

    def plant(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
        k = _k(w, rng)
        return w.with_joint(k + 1, replace(w.joints[k + 1], **changes)), k  # type: ignore[arg-type]

    return plant


def _all_chips(**changes: object) -> Planter:
    def plant(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
        del rng
        return replace(w, chips=tuple(replace(c, **changes) for c in w.chips)), None  # type: ignore[arg-type]

    return plant


def _weak(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    limit = rng.uniform(0.5, 4.0) * w.count * 0.001 + rng.uniform(0.0, 0.25)
    return replace(w, supply=replace(w.supply, kind="own", limit_a=limit)), None


def _short(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    at = rng.randrange(w.count)
    return replace(w, supply=replace(w.supply, short_at=at, short_ohm=rng.uniform(0.05, 0.4), limit_a=5.0)), at - 1


def _poor_feed(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    """A plug or holder that loses 0.8 to 2.4 V with every pixel full red, as warm contacts do."""
    return replace(w, supply=replace(w.supply, kind="own", source_ohm=rng.uniform(0.8, 2.4) / (w.count * 0.02))), None


def _feed_by_cable(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    """About an ohm of shield, cord and earth in place of the feed's GND."""
    return replace(
        w, supply=replace(w.supply, kind="own", source_ohm=rng.uniform(0.8, 1.6), ground_by_cable=True)
    ), None


def _sag(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    # 26 to 28 AWG at 0.1 to 0.2 m a pixel: 134 and 213 mohm/m.
    ohm = rng.uniform(0.018, 0.032)
    return replace(w, joints=tuple(replace(j, five_ohm=ohm, ground_ohm=ohm) for j in w.joints)), None


def _usb(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    supply = replace(w.supply, kind="usb", volts=rng.uniform(4.8, 5.05), source_ohm=rng.uniform(0.55, 1.0), limit_a=2.0)
    return replace(w, supply=supply, head=replace(w.head, brownout_v=rng.uniform(3.9, 4.4))), None


def _brownout(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    supply = replace(w.supply, kind="shared")
    return replace(w, supply=supply, head=replace(w.head, brownout_v=4.3, board_ohm=rng.uniform(0.9, 2.0))), None


def _five_joint(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    beyond = w.count - k - 1
    ohm = rng.uniform(0.6, 2.2) / (beyond * 0.018)
    return w.with_joint(k + 1, replace(w.joints[k + 1], five_ohm=ohm)), k


def _ground_joint(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    # An open ground leaves the way through the data pins' protection: tens to hundreds of ohms.
    k = _k(w, rng)
    ohm = rng.uniform(1.0, 4.0) / ((w.count - k - 1) * 0.002)
    return w.with_joint(k + 1, replace(w.joints[k + 1], ground_ohm=ohm)), k


def _resistor(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    ohm = rng.choice([0.5, 470_000.0])
    return replace(w, head=replace(w.head, resistor_ohm=ohm, lead_m=max(w.head.lead_m, 0.5))), -1


def _wrong_output(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    return replace(w, head=replace(w.head, on_set_output=False, other_chain_there=rng.random() < 0.25)), -1


def _first_dead(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return w.with_chip(0, replace(w.chips[0], input_ok=False)), -1


def _loose(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    return w.with_joint(k + 1, replace(w.joints[k + 1], flex=Flex.DATA_OPENS, open_at_rest=rng.random() < 0.5)), k


def _loose_power(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    return w.with_joint(k + 1, replace(w.joints[k + 1], flex=Flex.FIVE_OPENS, open_at_rest=rng.random() < 0.5)), k


def _piece_reversed(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = rng.randrange(0, w.count - 8)
    piece = range(k + 1, min(w.count - 2, k + 1 + rng.randrange(2, 9)))
    chips = tuple(replace(c, backwards=i in piece) for i, c in enumerate(w.chips))
    return replace(w, chips=chips), k


def _far_fuse(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    """Thin wire that two feeds would carry, the far one open."""
    w, place = _sag(w, rng)
    return replace(w, supply=replace(w.supply, far_feed=True, far_fuse_ok=False)), place


def _far_ground(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    """Thin wire that two feeds would carry, the far one's minus open: its plus alone carries nothing back."""
    w, place = _sag(w, rng)
    return replace(w, supply=replace(w.supply, far_feed=True, far_ground_ok=False)), place


def _one_of_three(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    chips = tuple(replace(c, order="GRB" if i == k + 1 else "GRBW") for i, c in enumerate(w.chips))
    return replace(w, chips=chips, settings=replace(w.settings, order="GRBW")), k


def _leak(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    return replace(w, leaks_at=k + 1), k


def _staple(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    joint = replace(w.joints[k + 1], flex=Flex.DATA_SHORTS, open_at_rest=rng.random() < 0.5, staple=True)
    return w.with_joint(k + 1, joint), k


def _teed(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    return replace(w, teed=k + 1), k


def _passed_by(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    return replace(w, passed_by=k + 1), k


def _one_colour(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    return w.with_chip(k + 1, replace(w.chips[k + 1], dead_colours=frozenset(rng.choice("RGB")))), k


def _order_all(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    order = rng.choice(["RGB", "BRG", "GBR", "BGR", "RBG"])
    return replace(w, chips=tuple(replace(c, order=order) for c in w.chips)), None


def _order_batch(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    first = rng.randrange(1, w.count - 8)
    batch = range(first, first + rng.randrange(1, 7))
    chips = tuple(replace(c, order="RGB") if i in batch else c for i, c in enumerate(w.chips))
    return replace(w, chips=chips), first - 1


def _four_driven(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return replace(w, settings=replace(w.settings, order="GRBW")), None


def _speed(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return replace(w, settings=replace(w.settings, khz=400)), None


def _count(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    missing = rng.randrange(1, 11)
    return replace(w, settings=replace(w.settings, count=w.count - missing)), None


def _latch(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return replace(w, settings=replace(w.settings, latch_us=50)), None


def _grouped(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return replace(w, chips=tuple(replace(c, leds=3) for c in w.chips)), None


def _burned(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    cut = rng.randrange(5, w.count - 5)
    second = 0 if rng.random() < 0.6 else cut + rng.randrange(1, 5)
    chips = [replace(c, address=i if i < cut else second + i - cut) for i, c in enumerate(w.chips)]
    return replace(w, chips=tuple(chips)), None


def _stale(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    at = rng.randrange(0, w.count - 3)
    return replace(w, shift_from=at, shift=rng.choice([-1, 1, 1, 2])), at - 1


def _marginal(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    chips = tuple(replace(c, high_v=None) for c in w.chips)
    return replace(w, chips=chips, head=replace(w.head, logic_v=3.3)), -1


def _joint_at_head(**changes: object) -> Planter:
    """Change the joint between the board and the first pixel."""

    def plant(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
        rest = {"open_at_rest": rng.random() < 0.3} if "flex" in changes else {}
        return w.with_joint(0, replace(w.joints[0], **changes, **rest)), -1  # type: ignore[arg-type]

    return plant


def _torn_pad(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    w = w.with_chip(k, replace(w.chips[k], pad_torn=True))
    return w.with_joint(k + 1, replace(w.joints[k + 1], flex=Flex.DATA_OPENS, open_at_rest=rng.random() < 0.6)), k


def _first_low(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return w.with_chip(0, replace(w.chips[0], input_ok=False, input_low=True)), -1


def _destroyed(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    """After 12 V: no chip works, and some are half shorted."""
    chips = tuple(replace(c, input_ok=False, input_low=True, lights=False) for c in w.chips)
    supply = replace(w.supply, short_at=rng.randrange(w.count), short_ohm=rng.uniform(4.0, 12.0))
    return replace(w, chips=chips, supply=supply), None


def _weak_shared(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    w, place = _weak(w, rng)
    return replace(w, supply=replace(w.supply, kind="shared"), head=replace(w.head, brownout_v=4.3)), place


def _piece_unfed(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    """A piece with a feed of its own, which is open: no 5 V from the pixels before."""
    k = _k(w, rng)
    return w.with_joint(k + 1, replace(w.joints[k + 1], five_ohm=OPEN_OHM, unfed=True)), k


def _piece_shorted(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    """As `_piece_unfed`, its fuse gone by a short in the piece."""
    w, k = _piece_unfed(w, rng)
    assert k is not None
    return replace(w, supply=replace(w.supply, short_at=k + 1, short_ohm=rng.uniform(0.05, 0.4))), k


def _power_pad(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    k = _k(w, rng)
    return w.with_chip(k + 1, replace(w.chips[k + 1], unfed=True)), k


def _shifter(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    w, place = _marginal(w, rng)
    return replace(w, head=replace(w.head, shifter=True)), place


def _held_down(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return replace(w, settings=replace(w.settings, held_down=True)), None


def _data_five(w: ModelWiring, rng: Random) -> tuple[ModelWiring, int | None]:
    del rng
    return replace(w, head=replace(w.head, plug=Plug.DATA_FIVE)), -1


PLANTERS: dict[str, Planter] = {
    "no-5v": _supply(volts=0.0),
    "supply-weak": _weak,
    "supply-short": _short,
    "polarity-swapped": _head(plug=Plug.FIVE_GROUND),
    "sag-far-end": _sag,
    "five-joint-high": _five_joint,
    "ground-joint-open": _ground_joint,
    "usb-only": _usb,
    "supply-high": _supply(volts=5.75),
    "board-brownout": _brownout,
    "coil-noise": _game(GameSide(coil_noise=True)),
    "ground-link": _game(GameSide(coil_noise=True, second_ground=True)),
    "no-common-ground": _head(common_ground=False),
    "data-ground-swapped": _head(plug=Plug.DATA_GROUND),
    "data-five-swapped": _data_five,
    "wrong-end": _head(from_end=True),
    "wrong-output": _wrong_output,
    "head-data-open": _head(data_open=True),
    "marginal-3v3": _marginal,
    "head-lead-long": _head(lead_m=2.4, paired=False),
    "head-resistor": _resistor,
    "first-input-dead": _first_dead,
    "output-dead": _head(output_ok=False),
    "joint-open": _joint(data_ohm=OPEN_OHM),
    "joint-plug-off": _joint(data_ohm=OPEN_OHM, five_ohm=OPEN_OHM, ground_ohm=OPEN_OHM),
    "k-output-dead": _chip(0, output=ChipOutput.DEAD),
    "next-dead": _chip(1, input_ok=False),
    "next-backwards": _chip(1, backwards=True),
    "led-dead": _chip(1, lights=False),
    "colour-dead": _one_colour,
    "stuck-colour": _chip(1, stuck=Colour(0, 60, 0)),
    "corrupts-after": _chip(0, output=ChipOutput.WILD),
    "data-shorted": _joint(data_rail="GND"),
    "staple-nick": _staple,
    "joint-loose": _loose,
    "fails-warm": _chip(1, fails_warm=True),
    "data-teed": _teed,
    "chains-crossed": _head(crossed=True),
    "pixel-skipped": _passed_by,
    "gap-long": _joint(metres=1.3),
    "order-wrong": _order_all,
    "order-batch": _order_batch,
    "rgbw-as-rgb": _all_chips(order="GRBW"),
    "rgb-as-rgbw": _four_driven,
    "odd-width": _chip(1, order="GRBW"),
    "wrong-speed": _speed,
    "count-small": _count,
    "latch-short": _latch,
    "grouped-chip": _grouped,
    "fixed-address": _burned,
    "table-stale": _stale,
    "turned-away": _chip(1, hidden=True),
    "input-unwired": _game(GameSide(input_wired=False)),
    "no-holding-load": _game(GameSide(needs_load=True)),
    "input-pulses": _game(GameSide(pulses=True)),
    "game-driver": _game(GameSide(driver_ok=False)),
    "fuse-open": _supply(fuse_ok=False),
    "section-feed-open": _far_fuse,
    "ground-by-charger": _head(common_ground=False, ground_by_charger=True),
    "section-ground-apart": _joint(ground_apart=True),
    "joint-data-gnd": _joint(crossed=Plug.DATA_GROUND),
    "joint-data-five": _joint(crossed=Plug.DATA_FIVE),
    "joint-five-gnd": _joint(crossed=Plug.FIVE_GROUND),
    "segment-reversed": _piece_reversed,
    "power-joint-loose": _loose_power,
    "rgb-among-rgbw": _one_of_three,
    "part-12v": _all_chips(least_v=7.0),
    "light-leaks": _leak,
    "five-joint-open": _joint(five_ohm=OPEN_OHM),
    "feed-poor": _poor_feed,
    "feed-ground-open": _feed_by_cable,
    "no-link": _head(answers=False),
    "bytes-lost": _head(loses_bytes=True),
    "supply-low": _supply(volts=3.95),
    "limit-low": _held_down,
    "chain-destroyed": _destroyed,
    "shifter-slow": _shifter,
    "head-data-loose": _joint_at_head(flex=Flex.DATA_OPENS),
    "feed-loose": _joint_at_head(flex=Flex.FIVE_OPENS),
    "ground-loose": _head(ground_loose=True),
    "ground-loop": _head(ground_loop=True),
    "link-loose": _head(cable_loose=True),
    "board-dead": _head(answers=False, dead=True),
    "pad-torn": _torn_pad,
    "head-data-shorted": _joint_at_head(data_rail="GND"),
    "head-data-leaks": _joint_at_head(leaks=True),
    "data-leak": _joint(leaks=True),
    "next-input-shorted": _chip(1, input_ok=False, input_low=True),
    "first-input-shorted": _first_low,
    "supply-weak-board": _weak_shared,
    "section-dead": _piece_unfed,
    "section-short": _piece_shorted,
    "section-ground-open": _far_ground,
    "pixel-power-open": _power_pad,
}

HOT = {
    "polarity-swapped": 0.7,
    "supply-short": 0.7,
    "data-five-swapped": 0.4,
    "supply-weak": 0.3,
    "supply-high": 0.1,
    "feed-poor": 0.35,
    "joint-five-gnd": 0.6,
    "joint-data-five": 0.35,
    "chain-destroyed": 0.6,
    "feed-loose": 0.15,
    "data-shorted": 0.2,
    "supply-weak-board": 0.3,
}
"""How often a planted fault warms, smells or ticks."""

BY_WORK = frozenset(
    [
        "polarity-swapped",
        "data-ground-swapped",
        "data-five-swapped",
        "no-common-ground",
        "wrong-end",
        "head-data-open",
        "joint-open",
        "next-backwards",
        "data-shorted",
        "data-teed",
        "chains-crossed",
        "pixel-skipped",
        "order-batch",
        "odd-width",
        "table-stale",
        "joint-loose",
        "staple-nick",
        "five-joint-high",
        "five-joint-open",
        "feed-ground-open",
        "ground-joint-open",
        "fixed-address",
        "count-small",
        "supply-short",
        "gap-long",
        "joint-data-gnd",
        "joint-data-five",
        "joint-five-gnd",
        "segment-reversed",
        "rgb-among-rgbw",
        "chain-destroyed",
        "head-data-shorted",
        "head-data-loose",
    ]
)
"""Faults that come of work on the wires; the others come when they like."""


def plant(causes: Sequence[str], *, seed: int, count: int = 50) -> Planted:
    """A wiring with those faults, the same for the same seed. Raises ValueError for an unknown cause or a short chain."""
    if count < 20:
        raise ValueError(f"a practice chain has at least 20 pixels, not {count}")
    rng = Random(seed)
    wiring = sound(count, rng)
    places = []
    for cause in causes:
        if cause not in PLANTERS:
            raise ValueError(f"there is no fault {cause!r} to plant; there are {', '.join(sorted(PLANTERS))}")
        wiring, place = PLANTERS[cause](wiring, rng)
        places.append(place)
    hot = any(rng.random() < HOT.get(cause, 0.0) for cause in causes)
    after_work = any(rng.random() < (0.85 if cause in BY_WORK else 0.25) for cause in causes)
    return Planted(wiring, tuple(causes), tuple(places), hot, after_work)


def plant_any(weights: Sequence[tuple[str, float]], *, seed: int, count: int = 50, faults: int = 1) -> Planted:
    """Like `plant`, with `faults` different causes drawn by their weights."""
    rng = Random(f"which {seed}")
    chosen: list[str] = []
    while len(chosen) < faults:
        cause = rng.choices([c for c, _ in weights], [w for _, w in weights])[0]
        if cause not in chosen:
            chosen.append(cause)
    return plant(chosen, seed=seed, count=count)
