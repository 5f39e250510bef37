"""The light that goes with a question: the board's own pattern where it has them, else pictures sent from here."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from device_protocol.orders import Identity
from device_protocol.values import Colour as BoardColour
from probe.document.model import Chain
from probe.patterns.flash import FlashLimiter
from probe.patterns.patterns import (
    HOLDS_THROUGH_SILENCE,
    Advance,
    Line,
    Pattern,
    PatternName,
    frame,
    steady,
    step_at,
    steps,
)
from probe.patterns.patterns import Chain as PatternChain
from probe.patterns.pictures import Colour, Picture
from probe.task.steps import Effect, RunPattern, ShowDark, Showing, ShowPicture, ShowPixel, ShowRange

TICK_MS = 500
"""Pictures sent from here change with the conductor's ticks."""
MOST_OUTPUTS = 4
MOST_COLOURS = 4

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

_COLOUR_WORDS = ("red", "green", "blue", "white")


@dataclass(frozen=True)
class Running:
    """A pattern on an output since `since_s`. `by_board`: on the board's own clock. `extra`: pixels beyond the count.
    `changed`: the chain is set up otherwise than the map says."""

    pattern: Pattern
    chain: PatternChain
    by_board: bool
    step: int = 0
    since_s: float = 0.0
    extra: int = 0
    changed: bool = False
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
        if Line.LOW in lines:
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
) -> tuple[Running, tuple[Effect, ...]]:
    """Start a pattern on a chain. `from_here`: send pictures even if the board has patterns, so that the number is exact.

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
    own = None if from_here or not identity.has("pattern") else own_pattern(pattern, on)
    if own is not None:
        return Running(pattern, on, by_board=True, since_s=now_s, extra=extra), (own,)
    if pattern.advance is Advance.CLOCK:
        pattern = replace(pattern, step_ms=TICK_MS * math.ceil(pattern.step_ms / TICK_MS))
    running = Running(pattern, on, by_board=False, since_s=now_s, extra=extra)
    running = replace(running, limiter=running.limiter.changed(round(now_s * 1000)))
    return running, pictures(running, identity)


def own_pattern(pattern: Pattern, chain: PatternChain) -> RunPattern | None:
    """The board's own pattern that does the same; None where there is none (SPEC 5.22)."""
    total = steps(pattern, chain)
    if pattern.name in (PatternName.ALL_OUTPUTS, PatternName.ALL_NUMBERS):
        return None
    if pattern.advance is Advance.KEY and total > 1:
        return None
    hold = pattern.name in HOLDS_THROUGH_SILENCE
    first = frame(pattern, chain, 0)
    if pattern.name is PatternName.WALK:
        colour = max(first.picture)
        return RunPattern(chain.output, (sent(colour),), pattern.step_ms, walk=True)
    if pattern.name is PatternName.SEND_IDLE:
        return RunPattern(chain.output, (sent(first.picture[0]),), pattern.step_ms, line="turns", hold=hold)
    colours = tuple(sent(frame(pattern, chain, at).picture[0]) for at in range(min(total, MOST_COLOURS)))
    line = "once" if first.line is Line.ONCE else "send"
    return RunPattern(chain.output, colours, pattern.step_ms, line=line, hold=hold)


def pictures(running: Running, identity: Identity) -> tuple[Effect, ...]:
    """The present step as pictures sent from here."""
    made = []
    outputs = [running.chain.output]
    if running.pattern.name is PatternName.ALL_OUTPUTS:
        outputs = list(range(min(identity.outputs, MOST_OUTPUTS)))
    for output in outputs:
        shown = frame(running.pattern, replace(running.chain, output=output), running.step).picture
        made.append(picture(output, shown, identity))
    return tuple(made)


def picture(output: int, shown: Picture, identity: Identity) -> Showing:
    """The cheapest effect that shows a picture; a board without the means lights the first lit pixel."""
    lit = [number for number, colour in enumerate(shown) if colour.letters]
    if not lit:
        return ShowDark(output)
    colour = sent(shown[lit[0]])
    if len(lit) == 1:
        return ShowPixel(output, lit[0], colour)
    if len(set(shown)) == 1 and identity.has("range"):
        return ShowRange(output, 0, len(shown), colour)
    if identity.has("paint"):
        return ShowPicture(output, tuple(sent(each) for each in shown))
    return ShowPixel(output, lit[0], colour)


def sent(colour: Colour) -> BoardColour:
    """A pattern's colour as the line carries it."""
    return BoardColour(*colour)


def ticked(running: Running, identity: Identity | None, now_s: float) -> tuple[Running, tuple[Effect, ...]]:
    """Half a second later."""
    if running.pattern.advance is Advance.KEY:
        return running, ()
    at = step_at(running.pattern, at_ms=max(0, round((now_s - running.since_s) * 1000)))
    if not running.by_board:
        at = min(at, running.step + 1)
    if at == running.step:
        return running, ()
    return _moved(running, at, identity, now_s)


def stepped(running: Running, by: int, identity: Identity | None, now_s: float) -> tuple[Running, tuple[Effect, ...]]:
    """A key moves a pattern on; a key held down does not make it flash."""
    if not running.by_key:
        return running, ()
    return _moved(running, (running.step + by) % steps(running.pattern, running.chain), identity, now_s)


def _moved(running: Running, at: int, identity: Identity | None, now_s: float) -> tuple[Running, tuple[Effect, ...]]:
    if running.by_board or identity is None:
        return replace(running, step=at), ()
    now_ms = round(now_s * 1000)
    if running.limiter.wait_ms(now_ms):
        return running, ()
    before = pictures(running, identity)
    running = replace(running, step=at)
    after = pictures(running, identity)
    if after == before:
        return running, ()
    return replace(running, limiter=running.limiter.changed(now_ms)), after


def again(running: Running, identity: Identity, now_s: float) -> tuple[Running, tuple[Effect, ...]]:
    """The same light once more, from its start: after the board went dark or is back."""
    if running.by_board:
        own = own_pattern(running.pattern, running.chain)
        return replace(running, step=0, since_s=now_s), () if own is None else (own,)
    return running, pictures(running, identity)
