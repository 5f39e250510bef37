"""What the fault finder knows: causes, observations, likelihoods, contexts and meter ranges. All of it is frozen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from probe.faults.meter import Ranges

PICTURE_QUESTION = "look"
STOP_OBSERVATION = "heat"
AFTER_STOP = "supply-ohms"
ONLY_TO_CLEAR = "supply-open"
"""No question of the search: put only to show that a supply is not, or no longer, too high."""


class Hazard(StrEnum):
    """What a reading can prove dangerous: until a safe reading clears it, nothing that needs power is asked."""

    SHORT = "short"
    PLUG_SWAPPED = "plug-swapped"
    JOINT_SWAPPED = "joint-swapped"
    SUPPLY_HIGH = "supply-high"


CLEARED_BY = {
    Hazard.SHORT: AFTER_STOP,
    Hazard.PLUG_SWAPPED: "pads-first",
    Hazard.JOINT_SWAPPED: "pads-joints",
    Hazard.SUPPLY_HIGH: ONLY_TO_CLEAR,
}
"""The question, put with the chain unpowered, whose safe answer clears a hazard; in the order in which they are put."""


class Who(StrEnum):
    """Who makes an observation, cheapest first."""

    TOOL = "tool"
    ASK = "ask"
    EYE = "eye"
    SETTINGS = "settings"
    FLEX = "flex"
    METER_POWERED = "meter-powered"
    METER_UNPOWERED = "meter-unpowered"
    PROBE = "probe"
    JUMPER = "jumper"
    SWAP = "swap"


class CauseGroup(StrEnum):
    """Where a cause sits."""

    POWER = "power"
    HEAD = "head"
    CHAIN = "chain"
    SETTINGS = "settings"
    TABLE = "table"
    GAME = "game"
    LINK = "link"


class ChainPower(StrEnum):
    """Whether the chain is powered during an observation. `SUPPLY`: the chain is unplugged, only its supply is on."""

    ON = "on"
    OFF = "off"
    SUPPLY = "supply"
    ANY = "any"


class After(StrEnum):
    """What follows a repair."""

    NONE = "none"
    RECHECK = "recheck"
    RENUMBER = "renumber"


@dataclass(frozen=True)
class Cause:
    """One thing that can be wrong. Texts may hold `{k}` and `{k1}`. `source` is where it was reported, or empty.

    `repair` names the one repair that heals it: causes with the same are weighed apart and shown as one suspect.
    """

    id: str
    group: CauseGroup
    repair: str
    weight: float
    after: After
    name: str
    remedy: str
    caution: str
    source: str


@dataclass(frozen=True)
class PossibleAnswer:
    """One possible answer. `normal` marks the answer of a chain without faults; `opens` the hazards that it proves,
    `clears` those that it rules out."""

    id: str
    text: str
    normal: bool
    opens: frozenset[Hazard] = frozenset()
    clears: frozenset[Hazard] = frozenset()


@dataclass(frozen=True)
class PatternWish:
    """What the board shall run while a question stands: a pattern's name and its arguments."""

    name: str
    arguments: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class FaultObservation:
    """One question or measurement. `seconds` is the work of a practised person; `meter` names its ranges. After an answer in
    `senseless_after`, (question, answer), it would make no sense."""

    id: str
    who: Who
    seconds: float
    power: ChainPower
    needs_k: bool
    pattern: PatternWish | None
    meter: str
    skip_when: frozenset[str]
    senseless_after: frozenset[tuple[str, str]]
    question: str
    answers: tuple[PossibleAnswer, ...]

    def index(self, answer: str) -> int:
        """Position of an answer. Raises KeyError with the answers there are."""
        for position, known in enumerate(self.answers):
            if known.id == answer:
                return position
        raise KeyError(f"{self.id}: there is no answer {answer!r}; there are {', '.join(a.id for a in self.answers)}")

    def answer(self, answer: str) -> PossibleAnswer:
        """The answer with that id. Raises KeyError."""
        return self.answers[self.index(answer)]


@dataclass(frozen=True)
class Anchor:
    """One of the few counted facts behind the weights."""

    claim: str
    source: str


@dataclass(frozen=True, eq=False)
class Knowledge:
    """All tables, checked. `likelihood[observation]` is an array (causes, answers), rows sum to 1; `healthy` likewise
    for a chain without the fault, shape (answers,)."""

    causes: tuple[Cause, ...]
    observations: tuple[FaultObservation, ...]
    likelihood: Mapping[str, NDArray[np.float64]]
    healthy: Mapping[str, NDArray[np.float64]]
    contexts: Mapping[str, Mapping[str, float]]
    ranges: Mapping[str, Ranges]
    standing: str
    on_screen: str
    anchors: tuple[Anchor, ...]

    @property
    def weights(self) -> tuple[tuple[str, float], ...]:
        """How often each cause is met, by id, in no unit."""
        return tuple((cause.id, cause.weight) for cause in self.causes)

    def cause(self, cause_id: str) -> Cause:
        """The cause with that id. Raises KeyError."""
        for cause in self.causes:
            if cause.id == cause_id:
                return cause
        raise KeyError(f"there is no cause {cause_id!r}")

    @cached_property
    def repairs(self) -> tuple[str, ...]:
        """The different repairs, in the order of their first causes."""
        return tuple(dict.fromkeys(cause.repair for cause in self.causes))

    @cached_property
    def repair_of(self) -> NDArray[np.intp]:
        """For each cause the position of its repair among `repairs`, shape (causes,)."""
        return np.array([self.repairs.index(cause.repair) for cause in self.causes], dtype=np.intp)

    def observation(self, observation_id: str) -> FaultObservation:
        """The observation with that id. Raises KeyError."""
        for observation in self.observations:
            if observation.id == observation_id:
                return observation
        raise KeyError(f"there is no observation {observation_id!r}")

    def prior(self, contexts: Sequence[str] = ()) -> NDArray[np.float64]:
        """Prior probability of each cause, shape (causes,), with the contexts' factors. Raises KeyError."""
        weights = np.array([cause.weight for cause in self.causes])
        for context in contexts:
            if context not in self.contexts:
                raise KeyError(f"there is no context {context!r}; there are {', '.join(sorted(self.contexts))}")
            factors = self.contexts[context]
            weights = weights * np.array([factors.get(cause.id, 1.0) for cause in self.causes])
        return np.asarray(weights / weights.sum())

    def separation(self, first: str, second: str) -> tuple[float, str]:
        """The largest difference between two causes' answer probabilities (total variation, 0 to 1) over all
        observations, and the observation that gives it."""
        ids = [cause.id for cause in self.causes]
        one, two = ids.index(first), ids.index(second)
        return max((float(np.abs(table[one] - table[two]).sum() / 2), name) for name, table in self.likelihood.items())
