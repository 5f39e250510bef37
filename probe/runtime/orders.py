"""Effects as orders: what to send to a board for what a step wants to be seen. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace

from device_protocol.current import dim_to_ceiling
from device_protocol.orders import (
    Darken,
    Identity,
    LightPixel,
    LightRange,
    Order,
    PatternKeep,
    PatternKind,
    PatternLine,
    SetupOutput,
    picture_orders,
)
from device_protocol.orders import RunPattern as RunPatternOrder
from device_protocol.values import DARK, Colour
from probe.task.steps import RunPattern, SetUpChain, ShowDark, Showing, ShowPicture, ShowPixel, ShowRange


@dataclass(frozen=True)
class Limits:
    """What an output is set to on the board: its count, and its ceiling in mA."""

    count: int
    ceiling_ma: int

    @classmethod
    def at_start(cls, identity: Identity) -> Limits:
        """Those of an output that nobody has set up (SPEC 4.1)."""
        return cls(identity.pixels, identity.ceiling_ma)

    @classmethod
    def after(cls, order: SetupOutput, identity: Identity) -> Limits:
        """Those after a `setup`; never above what the board states."""
        return cls(order.count, min(order.ceiling_ma, identity.ceiling_ma))


def setup_orders(effect: SetUpChain, identity: Identity) -> list[Order]:
    """The order that sets a chain up; none if the board cannot be set up or has no such output.

    A count or ceiling beyond the board's own is lowered to it: the board would refuse it.
    """
    chain = effect.chain
    if not identity.has("setup") or chain.output >= identity.outputs:
        return []
    count = effect.count or chain.length or identity.pixels
    return [
        SetupOutput(
            chain.output,
            max(1, min(count, identity.pixels)),
            chain.order,
            min(chain.ceiling_ma, identity.ceiling_ma),
            chain.latch_us,
        )
    ]


def under_ceiling(effect: Showing, identity: Identity, limits: Limits) -> Showing:
    """The effect, dimmed evenly as far as the output's ceiling asks; itself if it fits.

    Reckoned as the board does (SPEC 4.4), so that nothing is asked that it would have to refuse. Raises HostFault if
    even the dimmest light is above the ceiling.
    """

    def dimmed(lit: tuple[Colour, ...], first: int = 0) -> tuple[Colour, ...]:
        rest = max(0, limits.count - first - len(lit))
        whole = (DARK,) * first + lit + (DARK,) * rest
        allowed = dim_to_ceiling(
            whole, idle_ua=identity.idle_ua, channel_ua=identity.channel_ua, ceiling_ma=limits.ceiling_ma
        )
        return allowed[first : first + len(lit)]

    match effect:
        case ShowPixel(output, number, colour):
            return ShowPixel(output, number, dimmed((colour,), number)[0])
        case ShowRange(output, first, count, colour):
            lit = (colour,) * (count if identity.has("range") else 1)
            return ShowRange(output, first, count, dimmed(lit, first)[0]) if lit else effect
        case ShowPicture(output, colours):
            return ShowPicture(output, dimmed(colours))
        case RunPattern(colours=colours, walk=walk):
            pixels = 1 if walk else limits.count
            return replace(effect, colours=tuple(dimmed((colour,) * pixels)[0] for colour in colours))
        case ShowDark():
            return effect


def showing_orders(effect: Showing, identity: Identity, limits: Limits | None = None) -> list[Order]:
    """The orders that show what an effect asks for, dimmed to the ceiling of its output.

    `limits`: what the output is set to, None as after a restart. A board without `range` lights the first pixel of a
    range. Raises HostFault if a picture needs more than the board has, or more current than the ceiling leaves.
    """
    effect = under_ceiling(effect, identity, limits or Limits.at_start(identity))
    match effect:
        case ShowPixel(output, number, colour):
            return [LightPixel(output, number, colour)]
        case ShowRange(output, first, count, colour):
            if count == 1 or not identity.has("range"):
                return [LightPixel(output, first, colour)]
            return [LightRange(output, first, count, colour)]
        case ShowPicture(output, colours):
            # A board refuses a picture that leaves pixels unsaid (SPEC: `incomplete`): those behind it are dark.
            count = limits.count if limits is not None else identity.pixels
            colours += (DARK,) * (count - len(colours))
            return picture_orders(output, colours, line_limit=identity.line, features=identity.features)
        case RunPattern(output, colours, step_ms, walk, line, hold):
            kind = PatternKind.WALK if walk else PatternKind.WHOLE
            keep = PatternKeep.HOLD if hold else PatternKeep.LIVE
            return [RunPatternOrder(output, kind, colours, step_ms, PatternLine(line), keep)]
        case ShowDark(output):
            return [Darken(output)]


def replaces(later: Showing, earlier: Showing) -> bool:
    """Whether showing `later` leaves nothing of `earlier` to be seen, so that `earlier` need not be sent at all."""
    if isinstance(later, ShowDark) and later.output is None:
        return True
    return later.output == earlier.output
