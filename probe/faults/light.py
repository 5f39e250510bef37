"""The light that goes with a fault search: the board's own pattern where it has them, else pictures sent from here.

What the board should show is computed from the state alone (`showing`); what is kept here is which pattern runs, at which
step, and since when.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from device_protocol.orders import Identity
from probe.document.model import Chain
from probe.patterns.flash import FlashLimiter
from probe.patterns.patterns import (
    HOLDS_THROUGH_SILENCE,
    Advance,
    DataLine,
    Pattern,
    PatternChain,
    PatternName,
    frame,
    steady,
    step_at,
    steps,
)
from probe.patterns.pictures import Picture
from probe.task.light import BoardPattern, Light, Outputs, OutputSetup, Pixels

TICK_MS = 500
"""Pictures sent from here change with the ticks."""
MOST_OUTPUTS = 4
MOST_COLOURS = 4
ORDERS = ("GRB", "RGB", "BRG", "GBR", "BGR", "RBG")
FOUR_ORDERS = ("GRBW", "RGBW")

WORDS = {
    PatternName.ALL_DARK: "every pixel told to be dark",
    PatternName.ALL_DIM: "all pixels dim, one colour",
    PatternName.THREE_COLOURS: "all dim red, green, blue in turn",
    PatternName.TOUR: "dim red, green, blue, then white at the ceiling",
    PatternName.WALK: "one pixel walks along the chain",
    PatternName.LOAD_STEPS: "white in four steps up to the ceiling",
    PatternName.SEND_IDLE: "3 s sending, 3 s at rest, all dark",
    PatternName.HOLD_ONE: "one dim green frame, then the data line rests",
    PatternName.MARCH: "red, green, blue, a second each",
    PatternName.SOAK: "long slow colours at the ceiling",
    PatternName.ALL_OUTPUTS: "outputs 0 red, 1 blue, 2 green, 3 amber",
    PatternName.ALL_NUMBERS: "numbers in seven colours that repeat",
}


@dataclass(frozen=True)
class Running:
    """A pattern on an output since `since_s`. `by_board`: on the board's own clock. `setup`: how the output is driven
    meanwhile, where that is not what the map says; `beside` the same for other outputs that light too. `start` counts beginnings: a new one is sent anew."""

    pattern: Pattern
    chain: PatternChain
    by_board: bool
    step: int = 0
    since_s: float = 0.0
    start: int = 0
    setup: OutputSetup | None = None
    beside: Mapping[int, OutputSetup] = field(default_factory=dict)
    limiter: FlashLimiter = field(default_factory=FlashLimiter)

    @property
    def by_key(self) -> bool:
        """Whether the person's key moves it on."""
        return self.pattern.advance is Advance.KEY and steps(self.pattern, self.chain) > 1

    @property
    def words(self) -> str:
        """What is being shown, in a line."""
        text = WORDS[self.pattern.name]
        total = steps(self.pattern, self.chain)
        at = self.step % total
        if self.pattern.name is PatternName.WALK:
            return f"{text}: number {'about ' if self.by_board else ''}{at}"
        if total > 1 and self.pattern.name is not PatternName.SEND_IDLE:
            return f"{text} (step {at + 1} of {total})"
        return text

    @property
    def trouble(self) -> str:
        """What this board cannot do of it; empty if nothing."""
        if self.by_board:
            return ""
        lines = {frame(self.pattern, self.chain, at).line for at in range(min(2, steps(self.pattern, self.chain)))}
        if DataLine.LOW in lines:
            return "this board cannot send by itself: a reading while sending comes out too low, so answer not sure"
        return ""


def begin(
    pattern: Pattern,
    chain: Chain,
    identity: Identity,
    *,
    now_s: float,
    steady_only: bool,
    from_here: bool = False,
    extra: int = 0,
    setup: OutputSetup | None = None,
) -> Running:
    """Start a pattern on a chain. `from_here`: send pictures even if the board has patterns, so that the number is exact.
    `extra`: pixels beyond the chain's length.

    Nothing changes faster than 3 flashes a second; with `steady_only` nothing changes by itself.
    """
    count = max(1, min(identity.pixels, (chain.length or identity.pixels) + extra))
    on = PatternChain(
        count=count,
        output=chain.output,
        ceiling_ma=max(1, min(chain.ceiling_ma, identity.ceiling_ma)),
        channel_ua=identity.channel_ua,
        idle_ua=identity.idle_ua,
    )
    if steady_only:
        pattern = steady(pattern)
    if not from_here and identity.has("pattern") and own_pattern(pattern, on) is not None:
        return Running(pattern, on, by_board=True, since_s=now_s, setup=setup)
    if pattern.advance is Advance.CLOCK:
        pattern = replace(pattern, step_ms=TICK_MS * math.ceil(pattern.step_ms / TICK_MS))
    running = Running(pattern, on, by_board=False, since_s=now_s, setup=setup)
    return replace(running, limiter=running.limiter.changed(round(now_s * 1000)))


def showing(running: Running, identity: Identity) -> Light:
    """What the board should show at the present step."""
    if running.by_board:
        own = own_pattern(running.pattern, running.chain)
        if own is not None:
            return replace(own, setup=running.setup, start=running.start)
    return pictures(running, identity)


def set_up_beside(chain: Chain, count: int, others: Sequence[Chain], identity: Identity) -> Mapping[int, OutputSetup]:
    """How every other output is driven so that `chain`, which may hang there, shows its colour to the end: in its order,
    for `count` pixels at least, under the lower of both ceilings."""
    driven = {other.output: other for other in others}
    found = {}
    for output in range(min(identity.outputs, MOST_OUTPUTS)):
        if output != chain.output:
            own = driven.get(output, chain)
            setup = OutputSetup.of(chain, count=max(count, own.length))
            found[output] = replace(setup, ceiling_ma=min(setup.ceiling_ma, own.ceiling_ma))
    return found


def own_pattern(pattern: Pattern, chain: PatternChain) -> BoardPattern | None:
    """The board's own pattern that does the same; None where there is none (SPEC 5.22)."""
    total = steps(pattern, chain)
    if pattern.name in (PatternName.ALL_OUTPUTS, PatternName.ALL_NUMBERS):
        return None
    if pattern.advance is Advance.KEY and total > 1:
        return None
    hold = pattern.name in HOLDS_THROUGH_SILENCE
    first = frame(pattern, chain, 0)
    if pattern.name is PatternName.WALK:
        colour = max(first.picture, key=lambda colour: colour.total)
        return BoardPattern(chain.output, (colour,), pattern.step_ms, walk=True)
    if pattern.name is PatternName.SEND_IDLE:
        return BoardPattern(chain.output, (first.picture[0],), pattern.step_ms, line="turns", hold=hold)
    colours = tuple(frame(pattern, chain, at).picture[0] for at in range(min(total, MOST_COLOURS)))
    line = "once" if first.line is DataLine.ONCE else "send"
    return BoardPattern(chain.output, colours, pattern.step_ms, line=line, hold=hold)


def pictures(running: Running, identity: Identity) -> Light:
    """The present step as pictures sent from here."""
    outputs = [running.chain.output]
    if running.pattern.name is PatternName.ALL_OUTPUTS:
        outputs = list(range(min(identity.outputs, MOST_OUTPUTS)))
    parts = [
        picture(output, frame(running.pattern, replace(running.chain, output=output), running.step).picture, identity)
        for output in outputs
    ]
    parts = [replace(part, setup=running.beside.get(part.output, running.setup)) for part in parts]
    return parts[0] if len(parts) == 1 else Outputs(tuple(parts))


def picture(output: int, shown: Picture, identity: Identity) -> Pixels:
    """A picture as light; a board without the means lights the first lit pixel."""
    lit = [number for number, colour in enumerate(shown) if not colour.is_dark]
    if len(lit) == 1 or (lit and len(set(shown)) > 1 and not identity.has("paint")):
        return Pixels.one(output, lit[0], shown[lit[0]])
    return Pixels(output, 0, shown)


def ticked(running: Running, now_s: float) -> Running:
    """Half a second later. The same object if nothing changes."""
    if running.pattern.advance is Advance.KEY:
        return running
    at = step_at(running.pattern, at_ms=max(0, round((now_s - running.since_s) * 1000)))
    if not running.by_board:
        at = min(at, running.step + 1)
    return running if at == running.step else _moved(running, at, now_s)


def stepped(running: Running, by: int, now_s: float) -> Running:
    """A key moves a pattern on; a key held down does not make it flash."""
    if not running.by_key:
        return running
    return _moved(running, (running.step + by) % steps(running.pattern, running.chain), now_s)


def _moved(running: Running, at: int, now_s: float) -> Running:
    if running.by_board:
        return replace(running, step=at)
    now_ms = round(now_s * 1000)
    if running.limiter.wait_ms(now_ms):
        return running
    before, after = (frame(running.pattern, running.chain, step).picture for step in (running.step, at))
    running = replace(running, step=at)
    return running if after == before else replace(running, limiter=running.limiter.changed(now_ms))


def again(running: Running, now_s: float) -> Running:
    """The same light once more: after the board went dark or is back. The board's own pattern begins from its start."""
    return replace(running, step=0, since_s=now_s) if running.by_board else running


def trials(chain: Chain) -> Sequence[tuple[str, Chain]]:
    """Settings to try one after another, the ones in force first: (what is tried, the chain with it)."""
    own, other = (ORDERS, FOUR_ORDERS) if len(chain.order) == 3 else (FOUR_ORDERS, ORDERS)
    made = [(f"as set: order {chain.order}, pause {chain.latch_us} us", chain)]
    for order in (*(o for o in own if o != chain.order), *other):
        made.append((f"order {order}", chain.model_copy(update={"order": order})))
    if chain.latch_us < 1_000:
        made.append(("pause of 1000 us", chain.model_copy(update={"latch_us": 1_000})))
    return made
