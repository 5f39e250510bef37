"""First power-up, in stages: what to measure, what a reading means, and how it is kept in the map.

The order is that of danger: what can be found with the supply off comes before it is switched on, volts before light, dark
before bright. A reading that is judged to stop bars all that come after it, until it has been taken again and is not; the chain
is powered only when polarity and ohms were measured and are good.

Limits that come from no sheet are common practice, no source: 0.2 V off the plan, a third to three times the computed
current, below 2 ohm a short, below 20 ohm to be looked at (a large capacitor reads low at first and climbs).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from device_protocol.current import current_ua
from device_protocol.values import Colour
from probe.document.local_time import local_date
from probe.document.model import PlayfieldMap
from probe.document.model.harness import Batch, Judged, Metered, MeterReading
from probe.document.outside_text import spaced
from probe.harness.base import PowerError
from probe.harness.copper import FuseVerdict, fuse_carries, fuse_protects
from probe.harness.from_map import MapPower
from probe.harness.plan import LoadState
from probe.task.light import Dark, Light, Pixels

if TYPE_CHECKING:
    from device_protocol.orders import Identity

UNITS: Final = {
    Metered.POLARITY: "V", Metered.OHMS: "Ω", Metered.FUSE: "A", Metered.FIRST_VOLT: "V", Metered.LAST_VOLT: "V",
    Metered.DARK_MA: "mA", Metered.RED_MA: "mA", Metered.CEILING_MA: "mA",
}  # fmt: skip
STAGES: Final[dict[Metered, str]] = {
    Metered.POLARITY: "The chain unplugged from the feed, supply on: red lead to the feed's plus, black to its ground. Type "
    "the volts, with a minus if the meter shows one. Supply off again.",
    Metered.OHMS: "Supply off and unplugged, the feed joined to the chain: ohms from plus to ground at the first pixel. Wait "
    "until it stands still. Type the ohms, or `open` if the meter shows OL.",
    Metered.FUSE: "Supply off and unplugged: read what is printed on the fuse in the feed. Type its amperes.",
    Metered.FIRST_VOLT: "Supply on, one hand behind your back: volts at the first pixel's pads. It alone is lit, dimly.",
    Metered.LAST_VOLT: "Supply on, one hand behind your back: volts at the last pixel's pads. It alone is lit, dimly. If another "
    "one lights, or none, the count is wrong or the chain ends early.",
    Metered.DARK_MA: "Supply off and unplugged: open the feed's plus and put the meter in series, red lead in its 10 A socket. "
    "Other feeds stay open. Supply on, every pixel dark: type the milliamperes.",
    Metered.RED_MA: "The meter still in the feed, every pixel full red: type the milliamperes.",
    Metered.CEILING_MA: "The meter still in the feed, everything white, as bright as the ceiling lets it. After ten minutes type "
    "the milliamperes. Is a wire, plug or fuse hot? Then supply off and unplugged, close the feed, and put the red lead back in "
    "the volts socket: left in the 10 A one, the meter is a short across the next thing it touches.",
}
OFF: Final = frozenset({Metered.OHMS, Metered.FUSE})
"""Stages done with everything off and unplugged."""
SAFE_FIRST: Final = frozenset({Metered.POLARITY, Metered.OHMS})
"""Readings that have to be good before the chain is powered."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a reading means, and why."""

    judged: Judged
    why: str


def read_value(what: Metered, text: str) -> float | None:
    """The number typed; None for `open` where ohms are measured. Raises PowerError."""
    bare = text.strip().lower().replace(",", ".").replace("−", "-")
    if what is Metered.OHMS and bare in ("open", "ol", "o.l", "inf", "none"):
        return None
    for unit in ("kω", "kohm", "k"):
        if what is Metered.OHMS and bare.endswith(unit):
            return 1000 * read_value(what, bare.removesuffix(unit)) if bare != unit else _refuse(what, text)  # type: ignore[operator]
    unit = UNITS[what].lower()
    bare = bare.removesuffix("ohm").removesuffix(unit).strip()
    try:
        value = float(bare)
    except ValueError:
        return _refuse(what, text)
    if (
        value != value
        or abs(value) > 1e9
        or (value < 0 and what not in (Metered.POLARITY, Metered.FIRST_VOLT, Metered.LAST_VOLT))
    ):
        return _refuse(what, text)
    return value


def _refuse(what: Metered, text: str) -> float:
    more = ", or `open`" if what is Metered.OHMS else ""
    raise PowerError(f"{text.strip()[:20]!r} is not understood: type a number in {UNITS[what]}{more}.")


def judge_ohms(value: float | None) -> Judgement:
    """What ohms from plus to ground mean, unpowered; None for an open circuit."""
    if value is None or value >= 20:
        return Judgement(Judged.GOOD, "no short from plus to ground")
    if value < 2:
        return Judgement(
            Judged.STOP, "as good as a short: do not switch on. Take joints apart by halves until it is gone"
        )
    return Judgement(Judged.LOOK, "low: wait until the capacitor has charged, swap the leads, measure again")


def judge(power: MapPower, chain: str, what: Metered, value: float | None) -> Judgement:
    """What a reading of a chain (its id) means against the plan. Raises PowerError where the plan has no figures."""
    if power.solved is None:
        raise PowerError(power.trouble or "the plan has no figures yet: enter its wiring first.")
    made, solved = power.solved
    name = made.chain_names.get(chain)
    if name is None:
        raise PowerError("this chain has no pixels yet.")
    plan = made.plan.chain(name)
    low = max(kind.low_line_volt for kind, _ in plan.kinds)
    least, high = max(k.lowest_volt for k, _ in plan.kinds), min(k.highest_volt for k, _ in plan.kinds)
    nominal = max(kind.nominal_volt for kind, _ in plan.kinds)
    feeds = [feed for feed in solved.feeds if next(f for f in made.plan.feeds if f.name == feed.name).chain == name]
    stop, look, good = Judged.STOP, Judged.LOOK, Judged.GOOD
    if what is Metered.OHMS:
        return judge_ohms(value)
    assert value is not None
    if what in (Metered.POLARITY, Metered.FIRST_VOLT, Metered.LAST_VOLT):
        if value < 0:
            return Judgement(stop, "the wrong way round: off and unplug; swap the two wires of the feed")
        if value > high:
            return Judgement(stop, f"above the {high:g} V that these pixels take: off and unplug")
    if what is Metered.POLARITY:
        if value < 0.9 * nominal:
            return Judgement(look, f"less than {plan.volts}: fuse, switch, plug; measure again at the supply")
        return Judgement(good, "the right way round")
    if what is Metered.FUSE:
        for feed in feeds:
            if feed.wire_rating_a is not None and not fuse_protects(fuse_a=value, wire_rating_a=feed.wire_rating_a):
                return Judgement(
                    stop,
                    f"larger than {feed.thinnest} wire behind it is good for ({feed.wire_rating_a:.2g} A): fit a smaller one",
                )
        if any(not fuse_carries(fuse_a=value, load_a=feed.planned_a) for feed in feeds):
            return Judgement(look, "below 125 % of what is planned: it may open")
        if any(feed.fuse.verdict is FuseVerdict.UNKNOWN for feed in feeds):
            return Judgement(look, "the wire's rating is not known: enter its gauge")
        return Judgement(good, "it protects the wire and carries the load")
    if what in (Metered.FIRST_VOLT, Metered.LAST_VOLT):
        if value < 0.5:
            return Judgement(stop, "no volts: off and unplug, then ohms, before anything is concluded")
        if value < least:
            return Judgement(
                stop, f"below the {least:g} V that these pixels need: off; a joint, the fuse's holder or the wire"
            )
        expected = max(s.volt for s in made.plan.supplies_of(plan))
        if value < low or expected - value > 0.2:
            return Judgement(
                look, f"{expected - value:.2f} V are lost with nothing lit: a joint or a plug has resistance"
            )
        return Judgement(good, f"as it should be, above {low:g} V")
    state = LoadState.CEILING if what is Metered.CEILING_MA else LoadState.FULL_WHITE
    idle = 1000 * float(plan.per_pixel("idle_a").sum())
    if what is Metered.DARK_MA:
        computed = idle
    elif what is Metered.RED_MA:
        white = 3 if all(kind.channels == 3 for kind, _ in plan.kinds) else 4
        computed = idle + 1000 * float(plan.per_pixel("light_a").sum()) / white
    else:
        computed = 1000 * solved.state(state).chain(name).total_a
    fuse = min((f.fuse.rating_a for f in feeds if f.fuse.rating_a), default=None)
    if fuse is not None and value > 1000 * fuse:
        return Judgement(stop, f"above the {fuse:g} A fuse: off and unplug; look for a short and for white pixels")
    if what is Metered.CEILING_MA and plan.ceiling_ma is not None and value > 1.1 * plan.ceiling_ma:
        return Judgement(
            look,
            f"above the ceiling of {plan.ceiling_ma} mA: the figures of a pixel are too low; measure dark and all red",
        )
    if not computed / 3 <= value <= 3 * computed and not (what is Metered.CEILING_MA and value < computed):
        return Judgement(look, f"computed are {computed:.0f} mA: another kind of pixel, or some that do not light")
    return Judgement(good, f"computed are {computed:.0f} mA")


def last_readings(map_: PlayfieldMap, chain: str) -> dict[Metered, MeterReading]:
    """The last reading of each stage."""
    return {reading.what: reading for reading in map_.meter if reading.chain == chain}


@dataclass(frozen=True, slots=True)
class Awaited:
    """The reading that a stage waits for, and what it says by now; None where it was not taken."""

    what: Metered
    judged: Judged | None


def barred(map_: PlayfieldMap, chain: str, what: Metered) -> Awaited | None:
    """What a stage waits for: an earlier reading that was judged to stop; with the supply on, also a safe one not yet good."""
    found = last_readings(map_, chain)
    for stage in list(Metered)[: list(Metered).index(what)]:
        judged = found[stage].judged if stage in found else None
        if _bars(stage, judged, powered=what not in OFF):
            return Awaited(stage, judged)
    return None


def _bars(what: Metered, judged: Judged | None, *, powered: bool) -> bool:
    return judged is Judged.STOP or (powered and what in SAFE_FIRST and judged is not Judged.GOOD)


def why_barred(awaited: Awaited) -> str:
    """What has to be done before what a reading bars."""
    if awaited.judged is None:
        return f"first measure {awaited.what}: nothing is switched on before it is good."
    return f"first mend what {awaited.what} showed, and measure that again: it says {awaited.judged}. The fault finder helps."


def holds(reading: MeterReading) -> bool:
    """Whether a reading just taken has to be taken again before what comes next: it would bar a stage with the supply on."""
    return _bars(reading.what, reading.judged, powered=True)


def held_back(map_: PlayfieldMap, chain: str) -> bool:
    """Whether a chain has a reading that has to be taken again: the fault finder is offered then."""
    return any(holds(reading) for reading in last_readings(map_, chain).values())


DIM: Final = Colour(16, 16, 16)
RED: Final = Colour(255, 0, 0)
WHITE: Final = Colour(255, 255, 255)
_BEFORE_LIGHT: Final = {
    Metered.FIRST_VOLT: Metered.OHMS,
    Metered.LAST_VOLT: Metered.FIRST_VOLT,
    Metered.RED_MA: Metered.DARK_MA,
    Metered.CEILING_MA: Metered.DARK_MA,
}
"""The reading that has to be there before a stage is lit."""


def stage_light(map_: PlayfieldMap, chain_id: str, what: Metered, identity: Identity | None) -> tuple[Light, str]:
    """What a stage wants lit, and why it stays dark where it wants light all the same.

    Dark while an earlier reading says stop, before the reading that makes it safe, and all red where a ceiling would dim it:
    a dimmed one would be taken for the current of full red.
    """
    stopped = barred(map_, chain_id, what)
    if stopped is not None:
        return Dark(), f"Wait: {why_barred(stopped)}"
    chain = map_.chain(chain_id)
    needed = _BEFORE_LIGHT.get(what)
    if needed is None or not chain.length:
        return Dark(), ""
    readings = [reading.what for reading in map_.meter if reading.chain == chain_id]
    own = last_readings(map_, chain_id).get(what)
    if own is not None and own.judged is Judged.STOP:  # what came before it is measured anew
        readings = readings[len(readings) - readings[::-1].index(what) :]
    if needed not in readings:
        return Dark(), f"dark until {needed} is measured" + (" again" if own is not None else "")
    if what is Metered.FIRST_VOLT:
        return Pixels.one(chain.output, 0, DIM), ""
    if what is Metered.LAST_VOLT:
        return Pixels.one(chain.output, chain.length - 1, DIM), ""
    if what is Metered.CEILING_MA:
        return Pixels.run(chain.output, 0, chain.length, WHITE), ""
    if identity is not None:
        ceiling = min(chain.ceiling_ma, identity.ceiling_ma)
        figures = {"idle_ua": identity.idle_ua, "channel_ua": identity.channel_ua}
        need = current_ua(count=chain.length, colour_sum=255 * chain.length, **figures)
        if need > 1000 * ceiling:
            why = f"the ceiling of {ceiling} mA would dim it ({-(-need // 1000)} mA by the board's figures)"
            return Dark(), f"dark: {why}. Measure red at ten loose pixels, by the bench test, or leave it out"
    return Pixels.run(chain.output, 0, chain.length, RED), ""


def note(
    map_: PlayfieldMap, power: MapPower, chain: str, what: Metered, text: str, time: str
) -> tuple[PlayfieldMap, str]:
    """The map with a reading, and its judgement in words. Raises PowerError for a barred stage or a text that is none.

    Every reading is kept; the last of a stage counts.
    """
    stopped = barred(map_, chain, what)
    if stopped is not None:
        raise PowerError(why_barred(stopped))
    value = read_value(what, text)
    found = judge(power, chain, what, value)
    made = MeterReading(
        chain=chain, what=what, value=value, judged=found.judged, time=time, pixels=map_.chain(chain).length
    )
    words = f"{found.judged}: {found.why}"
    return map_.model_copy(update={"meter": (*map_.meter, made)}), words


def bench_words(batch: Batch) -> str:
    """What the bench test of a batch found; empty if there was none."""
    if not batch.bench_pixels:
        return ""
    parts = [f"{batch.bench_pixels} pixels on the bench", f"order {batch.bench_order}"]
    if batch.bench_dark_ma is not None and batch.bench_red_ma is not None:
        each = (batch.bench_red_ma - batch.bench_dark_ma) / batch.bench_pixels
        parts.append(f"{batch.bench_dark_ma / batch.bench_pixels:.2g} mA dark, {each:.2g} mA for red, each")
    if batch.bench_minutes is not None:
        parts.append(f"burn-in {batch.bench_minutes} min")
    if batch.bench_judged is not None:
        parts.append(batch.bench_judged.value + (f" ({spaced(batch.bench_flaw)})" if batch.bench_flaw else ""))
    return ", ".join(parts) + (f", {local_date(batch.bench_on)}" if batch.bench_on else "")
