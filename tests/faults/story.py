"""Stories of faults, written from electronics, and the finder scored on them.

A story names its cause, and what is seen or measured for each question that the fault touches; to any other question it
gives what a sound chain gives. Noise replaces some answers by another one and some by "not sure".
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from probe.faults.engine import (
    UNSURE,
    FaultSession,
    answered,
    answered_by_reading,
    most_probable,
    names_place,
    next_step,
)
from probe.faults.explain import diagnose
from probe.faults.knowledge import ChainPower, FaultObservation, Knowledge, Who
from probe.faults.tables import load
from tests.faults.dangers import DANGER, SAFE

FOLDER = Path(__file__).parent / "stories"


@dataclass(frozen=True)
class Story:
    """One fault. `seen`: by question, the answer's id or the reading as typed; `why`: the reason for each. `part`: the
    pixel kind in the map where it is no common one."""

    name: str
    cause: str
    contexts: tuple[str, ...]
    k: int | None
    seen: Mapping[str, str]
    why: Mapping[str, str]
    part: str

    @property
    def knowledge(self) -> Knowledge:
        """The finder's tables as they are for its part."""
        return load(self.part)


def read(path: Path) -> tuple[Story, ...]:
    """The stories of a file. Raises KeyError for an unknown group, ValueError for an answer without a reason."""
    written = tomllib.loads(path.read_text(encoding="utf-8"))
    stories = []
    for found in written["story"]:
        lines = {**(written["group"][found["like"]] if "like" in found else {}), **found["seen"]}
        parts = {asked: line.partition(": ") for asked, line in lines.items()}
        if bare := [asked for asked, (_, colon, why) in parts.items() if not colon or not why]:
            raise ValueError(f"{path.name}, {found['name']}: {bare[0]} has no reason")
        stories.append(
            Story(
                name=found["name"],
                cause=found["cause"],
                contexts=tuple(found.get("contexts", ())),
                k=found.get("k"),
                seen={asked: answer for asked, (answer, _, _) in parts.items()},
                why={asked: why for asked, (_, _, why) in parts.items()},
                part=found.get("part", ""),
            )
        )
    return tuple(stories)


@dataclass
class StoryScore:
    """Counts over searches. `sure`, `sure_right`: searches that ended with "very likely", and those of them right."""

    searches: int = 0
    first: int = 0
    in_three: int = 0
    questions: int = 0
    unsafe: int = 0
    sure: int = 0
    sure_right: int = 0
    missed: list[str] = field(default_factory=list)

    def line(self, name: str) -> str:
        """The figures in a line."""
        n = self.searches
        sure = f"{100 * self.sure_right / self.sure:.1f} % of {self.sure}" if self.sure else "none"
        return (
            f"{name}: n={n} first {100 * self.first / n:.1f} % in_three {100 * self.in_three / n:.1f} % "
            f"questions {self.questions / n:.2f} unsafe {self.unsafe} 'very likely' right {sure}"
        )


def _reply(asked: FaultObservation, story: Story, rng: Random, *, wrong: float, unsure: float) -> tuple[str, str]:
    """(answer's id, "") or ("", reading)."""
    draw = rng.random()
    if draw < unsure:
        return UNSURE, ""
    right = story.seen.get(asked.id, next(answer.id for answer in asked.answers if answer.normal))
    ids = [answer.id for answer in asked.answers]
    if draw < unsure + wrong:
        return rng.choice([other for other in ids if other != right]), ""
    if right in ids or right == UNSURE:
        return right, ""
    if not asked.meter:
        raise ValueError(f"{story.name}: {asked.id} has no answer {right!r}")
    return "", right


def searched(story: Story, *, seed: int = 0, wrong: float = 0.0, unsure: float = 0.0) -> tuple[FaultSession, int]:
    """One search from start to end. Returns the session and how many powered questions came while a danger was open."""
    knowledge, rng = story.knowledge, Random(f"{story.name} {seed}")
    session = FaultSession(story.contexts)
    for asked in knowledge.observations:
        if asked.who is Who.TOOL:
            answer, _ = _reply(asked, story, rng, wrong=0, unsure=0)
            session = answered(knowledge, session, observation=asked.id, answer=answer, by_tool=True)
    open_: set[str] = set()
    unsafe = 0
    while (question := next_step(knowledge, session).question) is not None:
        unsafe += bool(open_) and question.power is ChainPower.ON
        answer, typed = _reply(question, story, rng, wrong=wrong, unsure=unsure)
        if typed:
            session, verdict = answered_by_reading(knowledge, session, observation=question.id, typed=typed)
            given = [share[0] for share in verdict.shares]
        else:
            k = story.k if names_place(question.id, answer) else None
            session = answered(knowledge, session, observation=question.id, answer=answer, k=k)
            given = [answer]
        for one in given:
            open_ |= DANGER.get((question.id, one), set())
        if len(given) == 1 and (question.id, given[0]) in SAFE:
            open_ -= {SAFE[question.id, given[0]]}
    return session, unsafe


def score(stories: Sequence[Story], *, seeds: int = 1, wrong: float = 0.0, unsure: float = 0.0) -> StoryScore:
    """The finder on stories, each with as many seeds."""
    total = StoryScore()
    for story, seed in _all(stories, seeds):
        session, unsafe = searched(story, seed=seed, wrong=wrong, unsure=unsure)
        ranked = most_probable(story.knowledge, session)
        first = diagnose(story.knowledge, session).suspects[0]
        repairs = [story.knowledge.cause(cause).repair for cause in ranked]
        wanted = story.knowledge.cause(story.cause).repair
        total.searches += 1
        total.first += repairs[0] == wanted
        total.in_three += wanted in repairs
        total.questions += session.questions_asked
        total.unsafe += unsafe
        total.sure += first.word == "very likely"
        total.sure_right += first.word == "very likely" and repairs[0] == wanted
        if repairs[0] != wanted:
            total.missed.append(f"{story.name} ({story.cause}): {', '.join(ranked)}")
    return total


def _all(stories: Sequence[Story], seeds: int) -> Iterator[tuple[Story, int]]:
    for story in stories:
        for seed in range(seeds):
            yield story, seed
