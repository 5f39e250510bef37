"""Practice: a planted fault from a seed, what one would see and measure, and whether the cause named was the one."""

from __future__ import annotations

from dataclasses import dataclass

from probe.faults.engine import UNSURE
from probe.faults.explain import filled
from probe.faults.knowledge import Cause, Knowledge
from probe.faults.person import Reply, SimulatedPerson
from probe.faults.plant import Planted, plant_any


@dataclass(frozen=True)
class Outcome:
    """How a guess compares: `right` if the cause was planted; `lines` tell the planted causes and their remedies."""

    right: bool
    lines: tuple[str, ...]


class Practice:
    """One practice round. The same seed gives the same fault and the same observations."""

    def __init__(self, knowledge: Knowledge, *, seed: int, count: int = 50, faults: int = 1) -> None:
        self.knowledge = knowledge
        weights = [(cause.id, cause.weight) for cause in knowledge.causes]
        self.planted: Planted = plant_any(weights, seed=seed, count=count, faults=faults)
        self._person = SimulatedPerson(self.planted, seed=seed)
        self._made: dict[str, Reply] = {}
        self.answer("look")

    def answer(self, observation_id: str) -> Reply:
        """What one would answer to that question; the same whenever it is asked. Raises KeyError."""
        if observation_id not in self._made:
            self._made[observation_id] = self._person.answer(self.knowledge.observation(observation_id))
        return self._made[observation_id]

    def told(self, observation_id: str) -> str:
        """What one would see or read for that observation, in words or as a reading. Raises KeyError."""
        observation, reply = self.knowledge.observation(observation_id), self.answer(observation_id)
        if reply.typed:
            return reply.typed
        if reply.answer == UNSURE:
            return "nothing to be made out: there is no such place here"
        text = filled(observation.answer(reply.answer).text, self._person.k)
        edge = observation.id == "look" and self._person.k is not None and self._person.k >= 0
        return f"{text} (last good: {filled('{k}', self._person.k)})" if edge else text

    @property
    def k(self) -> int | None:
        """The last good pixel by the first look, -1 if none, None where there is no edge."""
        return self._person.k

    def guess(self, cause_id: str) -> Outcome:
        """Compare a cause with what was planted. Raises KeyError for an unknown one."""
        guessed = self.knowledge.cause(cause_id)
        lines = []
        for planted, place in zip(self.planted.causes, self.planted.places, strict=True):
            cause: Cause = self.knowledge.cause(planted)
            lines.append(f"planted: {filled(cause.name, place)}. {filled(cause.remedy, place)}.")
        return Outcome(guessed.id in self.planted.causes, tuple(lines))
