"""Light as orders: what to send to a board so that it shows what a task wants, dimmed to the ceiling; and what a refusal means. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from device_protocol.current import dim_to_ceiling
from device_protocol.errors import ErrorCode, HostFault
from device_protocol.orders import (
    Identity,
    LightGroup,
    LightLamp,
    LightPixel,
    LightRange,
    Order,
    PatternKeep,
    PatternKind,
    PatternLine,
    RunPattern,
    SetupOutput,
    picture_orders,
)
from device_protocol.values import DARK, Colour
from probe.document.model import PlayfieldMap
from probe.link.refusal import OrderRefused
from probe.task.light import BoardPattern, ByTable, Dark, Outputs, OutputSetup, Pixels, Still

COUNT_STEP = 64
"""How much longer the board is set up for an open chain than what was reached: a set-up costs an order."""

Part = Pixels | BoardPattern


def parts_of(light: Still | BoardPattern) -> dict[int, Part]:
    """What each output shall show; outputs not named, and those whose pixels are all dark, are dark."""
    match light:
        case Dark():
            return {}
        case Pixels():
            return {} if light.is_dark else {light.output: light}
        case BoardPattern():
            return {light.output: light}
        case Outputs(parts):
            return {part.output: part for part in parts if not part.is_dark}


def setup_for(
    output: int, map_: PlayfieldMap | None, identity: Identity, part: Part | None = None
) -> OutputSetup | None:
    """How an output has to be set up for this part, within the board's own limits; None where nothing is known of it.

    An open chain is set up for enough pixels to reach the last one lit. Without a board that can be set up: None.
    """
    if not identity.has("setup") or output >= identity.outputs:
        return None
    wanted = part.setup if part is not None else None
    if wanted is None:
        chain = next((chain for chain in map_.chains if chain.output == output), None) if map_ is not None else None
        if chain is None:
            return None
        if chain.count is not None and chain.count >= len(chain.pixels):
            wanted = OutputSetup.of(chain)
        else:
            last = part.first + len(part.colours) if isinstance(part, Pixels) else 1
            reach = max(len(chain.pixels), last)
            wanted = OutputSetup.of(chain, count=(reach // COUNT_STEP + 1) * COUNT_STEP)
    count = wanted.count or identity.pixels
    return OutputSetup(
        max(1, min(count, identity.pixels)), wanted.order, min(wanted.ceiling_ma, identity.ceiling_ma), wanted.latch_us
    )


def setup_order(output: int, setup: OutputSetup) -> SetupOutput:
    """The order that sets an output up."""
    return SetupOutput(output, setup.count, setup.order, setup.ceiling_ma, setup.latch_us)


def part_orders(part: Part, identity: Identity, setup: OutputSetup | None) -> list[Order]:
    """The orders that show a part. `setup`: what the output is set to; None as after a restart (SPEC 4.1).

    Raises HostFault if it needs more than the board has, or more current than the ceiling leaves at its dimmest.
    """
    count = setup.count if setup is not None else identity.pixels
    ceiling_ma = setup.ceiling_ma if setup is not None else identity.ceiling_ma

    def dimmed(lit: tuple[Colour, ...], first: int = 0) -> tuple[Colour, ...]:
        # computed as the board does (SPEC 4.4), so that nothing is asked that it would have to refuse
        rest = max(0, count - first - len(lit))
        whole = (DARK,) * first + lit + (DARK,) * rest
        allowed = dim_to_ceiling(whole, idle_ua=identity.idle_ua, channel_ua=identity.channel_ua, ceiling_ma=ceiling_ma)
        return allowed[first : first + len(lit)]

    if isinstance(part, BoardPattern):
        pixels = 1 if part.walk else count
        colours = tuple(dimmed((colour,) * pixels)[0] for colour in part.colours)
        kind = PatternKind.WALK if part.walk else PatternKind.WHOLE
        keep = PatternKeep.HOLD if part.hold else PatternKeep.LIVE
        return [RunPattern(part.output, kind, colours, part.step_ms, PatternLine(part.line), keep)]
    lit = part.colours
    same = len(set(lit)) == 1
    if len(lit) == 1 or (same and not identity.has("range")):
        return [LightPixel(part.output, part.first, dimmed(lit[:1], part.first)[0])]
    if same:
        return [LightRange(part.output, part.first, len(lit), dimmed(lit, part.first)[0])]
    # A board refuses a picture that leaves pixels unsaid (SPEC: `incomplete`): those around it are dark.
    whole = (DARK,) * part.first + lit
    whole += (DARK,) * (count - len(whole))
    return picture_orders(part.output, dimmed(whole), line_limit=identity.line, features=identity.features)


def table_order(light: ByTable, level: int = 255) -> Order:
    """The order by which the board lights a lamp or a group from its own table."""
    return LightLamp(light.lamp, level) if light.lamp is not None else LightGroup(light.group or 0, level)


def outputs_of(map_: PlayfieldMap | None, identity: Identity) -> Mapping[int, OutputSetup]:
    """How every output with pixels on the map has to be set up."""
    chains = map_.chains if map_ is not None else ()
    found = {chain.output: setup_for(chain.output, map_, identity) for chain in chains if chain.length}
    return {output: setup for output, setup in found.items() if setup is not None}


_REFUSALS = {
    ErrorCode.NO_SUCH_OUTPUT: "the board has no such output: the map was made with another board or build",
    ErrorCode.NO_SUCH_PIXEL: "the board says there is no such pixel: is the count set too small?",
    ErrorCode.CEILING: "this needs more current than the ceiling allows: lower the level or light fewer pixels",
    ErrorCode.TOO_MANY_PIXELS: "the board cannot drive that many pixels on one output",
    ErrorCode.NO_SUCH_FEATURE: "this board cannot do that: its firmware lacks the feature",
    ErrorCode.UNKNOWN_ORDER: "the board does not know this order: it speaks an older version of the protocol",
    ErrorCode.MISMATCH: "the board's memory does not hold what was sent: write the table again; if that fails, the chip is worn",
    ErrorCode.BAD_TABLE: "this board cannot keep such a table: it has fewer lamps, groups or pixels than the map asks for",
    ErrorCode.NOT_IN_TABLE: "the board's table has no such lamp or group, or the board holds no table: write the table first",
    ErrorCode.NOT_READY: "the board is busy: try again",
}


def refusal(code: ErrorCode | None, raw: str) -> str:
    """What a refused order means for the person. `raw` is the board's own word, shown if the code alone is not enough."""
    if code is not None and code in _REFUSALS:
        return _REFUSALS[code]
    return f"the board refused: {raw}"


def why_not(exc: Exception) -> str:
    """Why a light or a question came to nothing, as a plain sentence."""
    if isinstance(exc, OrderRefused):
        return refusal(exc.code, str(exc))
    if isinstance(exc, HostFault):
        return f"this cannot be shown: {exc}"
    return str(exc)
