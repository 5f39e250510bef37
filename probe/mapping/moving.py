"""Moving along the chains: which pixel is asked for, at what level, and what the board is told of a chain's count."""

from __future__ import annotations

from dataclasses import replace

from device_protocol.orders import Identity
from device_protocol.values import Colour
from probe.document.model import MAX_PIXELS, Chain, shown_number
from probe.mapping.keys import Entry
from probe.mapping.walk_state import Walk, next_unseen
from probe.patterns.pictures import WHITE, level_under_ceiling
from probe.task.steps import Effect, RingBell, SetUpChain, ShowDark, ShowPixel

ALL_ANSWERED = "every pixel has been answered; Esc shows what comes next"
COUNT_STEP = 64  # how much longer the board is told an open chain is than what was reached: a set-up costs an order


def set_count_for(walk: Walk, chain: Chain) -> int | None:
    """What the board is told of a chain's count: the map's, or enough to reach the pixel asked for if nobody knows."""
    if chain.count is not None and chain.count >= len(chain.pixels):
        return None
    reach = max(len(chain.pixels), walk.number + 1 if chain.id == walk.chain else 1)
    wanted = (reach // COUNT_STEP + 1) * COUNT_STEP
    identity = walk.board.identity
    return min(wanted, identity.pixels) if identity else wanted


def level_under(wanted: int, *, count: int, ceiling_ma: int, identity: Identity) -> int:
    """The highest level up to `wanted` at which one white pixel of `count` keeps under the ceiling; 1 at least."""
    most = level_under_ceiling(
        WHITE,
        count=count,
        lit=1,
        ceiling_ma=min(ceiling_ma, identity.ceiling_ma),
        channel_ua=identity.channel_ua,
        idle_ua=identity.idle_ua,
    )
    return max(1, min(wanted, most))


def light(walk: Walk) -> tuple[Effect, ...]:
    """What lights the pixel that is asked for; nothing without a board that has this output."""
    identity = walk.board.identity
    if identity is None:
        return ()
    chain = walk.here
    if chain.output >= identity.outputs:
        return ()
    told = set_count_for(walk, chain)
    level = level_under(walk.level, count=told or chain.length, ceiling_ma=chain.ceiling_ma, identity=identity)
    return (ShowPixel(chain.output, walk.number, Colour(level, level, level)),)


def relit(walk: Walk) -> tuple[Walk, tuple[Effect, ...]]:
    """The walk as it is, and its pixel lit once more."""
    return walk, light(walk)


def go(walk: Walk, chain_id: str, number: int) -> tuple[Walk, tuple[Effect, ...]]:
    """To a pixel: it is asked about and lit, whatever was typed is gone. A number out of the chain stays where it is."""
    chain = walk.map.chain_by_id.get(chain_id)
    if chain is None:
        return replace(walk, message=f"there is no chain {chain_id!r}"), ()
    top = chain.length - 1 if chain.count is not None else MAX_PIXELS - 1
    identity = walk.board.identity
    if identity is not None and chain.count is None:
        top = min(top, identity.pixels - 1)
    if not 0 <= number <= top:
        end = "the first pixel is 0" if number < 0 else f"the last pixel is {shown_number(top)}"
        return replace(walk, message=end), (RingBell(),)
    before = walk
    walk = replace(
        walk,
        chain=chain_id,
        number=number,
        entry=Entry.LABEL,
        typed="",
        chosen=0,
        put_at=None,
        lit=None,
        blink_on=True,
        message="",
    )
    effects: tuple[Effect, ...] = ()
    if before.here.output != chain.output and before.board.here:
        effects += (ShowDark(before.here.output),)
    if set_count_for(walk, chain) != set_count_for(before, chain) and walk.board.here:
        effects += (SetUpChain(chain, set_count_for(walk, chain)),)
    return walk, effects + light(walk)


def move(walk: Walk, by: int, *, unseen: bool = False) -> tuple[Walk, tuple[Effect, ...]]:
    """So many pixels on, or to the next one that nobody has answered."""
    if not unseen:
        return go(walk, walk.chain, walk.number + by)
    found = next_unseen(walk.map, walk.chain, walk.number)
    if found is None:
        return replace(walk, message=ALL_ANSWERED), (RingBell(),)
    return go(walk, *found)
