"""Setting up the outputs of a board that is newly connected, with what a board without `setup` can do instead."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from device_protocol.orders import (
    Identify,
    Identity,
    OutputSettings,
    SetupOutput,
)
from device_protocol.values import LATCH_US_DEFAULT
from probe.link.link import BoardLink
from probe.link.refusal import OrderRefused


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputPlan:
    """What an output should be set to. `ceiling_ma` None: as high as the board's build allows."""

    output: int
    count: int
    byte_order: str
    latch_us: int = LATCH_US_DEFAULT
    ceiling_ma: int | None = None


@dataclass(frozen=True, slots=True)
class SetupResult:
    """What came of one plan. `settings` as they hold on the board, None where the board keeps its own.

    `shortfall` is None, or what differs from the plan, as a phrase for the person.
    """

    plan: OutputPlan
    settings: OutputSettings | None
    shortfall: str | None


async def set_up_outputs(link: BoardLink, plans: Iterable[OutputPlan]) -> tuple[SetupResult, ...]:
    """Set up each output as planned; every chain set up is dark afterwards. Raises LinkLost.

    A count or a ceiling beyond what the build allows is lowered to it, and reported; an output that the board does not have,
    or a board without the feature `setup`, is reported too. Nothing that the plan asks for is dropped in silence.
    """
    results = []
    for plan in plans:
        identity = link.identity or await link.do(Identify())  # without a board the latter raises the reason
        results.append(await _set_up(link, plan, identity))
    return tuple(results)


async def _set_up(link: BoardLink, plan: OutputPlan, identity: Identity) -> SetupResult:
    if plan.output >= identity.outputs:
        return SetupResult(plan, None, f"the board has {identity.outputs} outputs, none numbered {plan.output}")
    if not identity.has("setup"):
        return SetupResult(plan, None, _without_setup(plan, identity))
    short: list[str] = []
    count, ceiling_ma = plan.count, plan.ceiling_ma
    if ceiling_ma is None:
        ceiling_ma = identity.ceiling_ma
    elif ceiling_ma > identity.ceiling_ma:
        short.append(f"ceiling {identity.ceiling_ma} mA, the most of this build, instead of {ceiling_ma} mA")
        ceiling_ma = identity.ceiling_ma
    if count > identity.pixels:
        short.append(f"{identity.pixels} pixels, the most of this board, instead of {count}")
        count = identity.pixels
    order = SetupOutput(
        output=plan.output, count=count, byte_order=plan.byte_order, ceiling_ma=ceiling_ma, latch_us=plan.latch_us
    )
    try:
        settings = await link.do(order)
    except OrderRefused as refused:
        return SetupResult(plan, None, refused.text)
    return SetupResult(plan, settings, "; ".join(short) or None)


def _without_setup(plan: OutputPlan, identity: Identity) -> str:
    obstacle = f"this board cannot be set up: it has {identity.pixels} pixels on each output and its own byte order"
    if plan.count > identity.pixels:
        return f"{obstacle}; {plan.count - identity.pixels} pixels of the chain cannot be reached"
    return f"{obstacle}; colours may look exchanged"
