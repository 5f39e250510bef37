"""Lighting places through effects: which pictures to ask the board for, and which of them it has confirmed.

Shared by the activities of light. "Lit" is what the board has said, never what was asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from device_protocol.orders import Identity
from device_protocol.values import Colour
from probe.document.model import PlayfieldMap
from probe.lighting.levels import Shown as ChainShown
from probe.lighting.levels import shown_on
from probe.task.steps import Effect, SetUpChain, ShowDark, Showing, ShowPicture


@dataclass(frozen=True)
class Lighting:
    """What was asked for and what is lit. `places`: those asked for, `chains`: the pictures, `confirmed`: outputs."""

    places: frozenset[str] = frozenset()
    chains: tuple[ChainShown, ...] = ()
    confirmed: frozenset[int] = frozenset()

    @property
    def is_lit(self) -> bool:
        """Whether the board has said that all of it is lit."""
        return bool(self.places) and all(c.output in self.confirmed for c in self.chains if any_light(c))

    @property
    def need_ma(self) -> int:
        """Current of all that is asked for."""
        return sum(chain.need_ma for chain in self.chains)

    def answered(self, what: Showing) -> Lighting:
        """After the board has shown something."""
        match what:
            case ShowPicture(output, colours):
                hit = any(c.output == output and c.colours == colours for c in self.chains)
                return replace(self, confirmed=self.confirmed | {output} if hit else self.confirmed - {output})
            case ShowDark(None):
                return replace(self, confirmed=frozenset())
            case _:
                return replace(self, confirmed=self.confirmed - {what.output or 0})

    def lost(self) -> Lighting:
        """Nothing is lit any more."""
        return replace(self, confirmed=frozenset())


def any_light(chain: ChainShown) -> bool:
    """Whether a picture lights anything."""
    return any(not colour.is_dark for colour in chain.colours)


def ask(
    m: PlayfieldMap, wanted: Mapping[str, Colour], before: Lighting, identity: Identity | None
) -> tuple[Lighting, tuple[Effect, ...]]:
    """The lighting of these places (id → duty), and the effects that make it so; none without a board.

    Outputs on which nothing changes are left alone. Without a board the current is reckoned from planning figures.
    """
    outputs = identity.outputs if identity else 16
    chains = []
    for chain in m.chains:
        if chain.pixels and chain.output < outputs:
            count = min(chain.length, identity.pixels) if identity else chain.length
            chains.append(shown_on(m, chain, wanted, identity, count=count))
    known = {chain.output: chain.colours for chain in before.chains}
    kept = frozenset(c.output for c in chains if c.output in before.confirmed and known.get(c.output) == c.colours)
    effects: list[Effect] = []
    if identity is not None:
        for shown in chains:
            if shown.output in kept:
                continue
            if any_light(shown):
                effects.append(ShowPicture(shown.output, shown.colours))
            elif shown.output not in known or any(not c.is_dark for c in known[shown.output]):
                effects.append(ShowDark(shown.output))
    return Lighting(frozenset(wanted), tuple(chains), kept), tuple(effects)


def set_ups(m: PlayfieldMap, identity: Identity) -> tuple[Effect, ...]:
    """What a board has to be told of the chains when it comes."""
    return tuple(
        SetUpChain(chain, chain.length) for chain in m.chains if chain.output < identity.outputs and chain.pixels
    )
