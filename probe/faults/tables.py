"""The package's own tables of faults, read and checked.

The tables are judgement (`data/about.toml` says so and names its few anchors). Every error names file, line and column.
"""

from __future__ import annotations

import csv
import io
import math
import tomllib
from collections.abc import Mapping, Sequence
from enum import StrEnum
from functools import cache
from importlib import resources
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from probe.faults.knowledge import (
    AFTER_STOP,
    PICTURE_QUESTION,
    STOP_OBSERVATION,
    After,
    Anchor,
    Cause,
    CauseGroup,
    ChainPower,
    FaultObservation,
    Hazard,
    Knowledge,
    PatternWish,
    PossibleAnswer,
    Who,
)
from probe.faults.meter import MeterRange, Ranges
from probe.harness.pixels import PIXEL_KINDS

Kind = TypeVar("Kind", bound=StrEnum)

COMMON_PART = "WS2812B"
HEALTHY = "*"
FLOOR = 0.003  # no answer is impossible: eyes and meters err


class KnowledgeError(ValueError):
    """A table of the package does not hold. The text says file, line, column and what is expected."""


def _rows(name: str, text: str, columns: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    reader = csv.reader(io.StringIO(text), strict=True)
    try:
        lines = [(reader.line_num, row) for row in reader if row]
    except csv.Error as err:
        raise KnowledgeError(f"{name}, line {reader.line_num}: {err}") from err
    if not lines or lines[0][1] != list(columns):
        raise KnowledgeError(f"{name}, line 1: the columns have to be {','.join(columns)}")
    for line, row in lines[1:]:
        if len(row) != len(columns):
            raise KnowledgeError(f"{name}, line {line}: {len(row)} fields instead of {len(columns)}; quote commas")
    return [(line, dict(zip(columns, row, strict=True))) for line, row in lines[1:]]


def _number(where: str, text: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise KnowledgeError(f"{where}: {text!r} is not a number from {low:g} to {high:g}")
    return value


def _choice(where: str, kind: type[Kind], text: str) -> Kind:
    try:
        return kind(text)
    except ValueError:
        raise KnowledgeError(f"{where}: {text!r} is none of {', '.join(kind)}") from None


def _filled(where: str, text: str) -> str:
    if not text.strip():
        raise KnowledgeError(f"{where}: empty")
    return text


def _once(where: str, name: str, seen: set[str]) -> str:
    if name in seen:
        raise KnowledgeError(f"{where}: {name!r} is there twice")
    seen.add(_filled(where, name))
    return name


def _wish(where: str, text: str) -> PatternWish | None:
    if not text:
        return None
    name, *arguments = text.split()
    pairs = []
    for argument in arguments:
        key, equals, value = argument.partition("=")
        if not (key and equals and value):
            raise KnowledgeError(f"{where}: {argument!r} has to be key=value")
        pairs.append((key, value))
    return PatternWish(name, tuple(pairs))


_CAUSE_COLUMNS = ("id", "group", "repair", "weight", "after", "name", "remedy", "caution", "source")


def _causes(text: str) -> tuple[Cause, ...]:
    name = "causes.csv"
    seen: set[str] = set()
    causes = []
    for line, row in _rows(name, text, _CAUSE_COLUMNS):
        at = f"{name}, line {line}"
        causes.append(
            Cause(
                id=_once(f"{at}, id", row["id"], seen),
                group=_choice(f"{at}, group", CauseGroup, row["group"]),
                repair=_filled(f"{at}, repair", row["repair"]),
                weight=_number(f"{at}, weight", row["weight"], 0.01, 1_000),
                after=_choice(f"{at}, after", After, row["after"]),
                name=_filled(f"{at}, name", row["name"]),
                remedy=_filled(f"{at}, remedy", row["remedy"]),
                caution=row["caution"],
                source=row["source"],
            )
        )
    return tuple(causes)


def _answers(text: str) -> dict[str, list[PossibleAnswer]]:
    name = "answers.csv"
    found: dict[str, list[PossibleAnswer]] = {}
    for line, row in _rows(name, text, ("observation", "answer", "normal", "opens", "clears", "text")):
        at = f"{name}, line {line}"
        answers = found.setdefault(row["observation"], [])
        _once(f"{at}, answer", row["answer"], {answer.id for answer in answers})
        if row["normal"] not in ("", "yes"):
            raise KnowledgeError(f"{at}, normal: {row['normal']!r} is neither empty nor yes")
        opens, clears = (
            frozenset(_choice(f"{at}, {column}", Hazard, word) for word in row[column].split())
            for column in ("opens", "clears")
        )
        text_shown = _filled(f"{at}, text", row["text"])
        answers.append(PossibleAnswer(row["answer"], text_shown, row["normal"] == "yes", opens, clears))
    return found


def _observations(
    text: str, answers: Mapping[str, list[PossibleAnswer]], ranges: Mapping[str, Ranges], contexts: Mapping[str, object]
) -> tuple[FaultObservation, ...]:
    name = "observations.csv"
    seen: set[str] = set()
    observations = []
    columns = (
        "id",
        "who",
        "seconds",
        "power",
        "needs_k",
        "pattern",
        "meter",
        "skip_when",
        "senseless_after",
        "question",
    )
    for line, row in _rows(name, text, columns):
        at = f"{name}, line {line}"
        own = tuple(answers.get(row["id"], ()))
        if len(own) < 2 or sum(answer.normal for answer in own) != 1:
            raise KnowledgeError(f"{at}: answers.csv has to give {row['id']!r} two answers or more, one of them normal")
        if row["needs_k"] not in ("yes", "no"):
            raise KnowledgeError(f"{at}, needs_k: {row['needs_k']!r} is neither yes nor no")
        if row["meter"]:
            if row["meter"] not in ranges:
                raise KnowledgeError(f"{at}, meter: ranges.csv has no {row['meter']!r}")
            judged = {part.answer for part in ranges[row["meter"]].parts}
            if judged != {answer.id for answer in own}:
                raise KnowledgeError(f"{at}, meter: ranges.csv judges {sorted(judged)}, answers.csv has others")
        skip = frozenset(row["skip_when"].split())
        if unknown := skip - contexts.keys():
            raise KnowledgeError(f"{at}, skip_when: contexts.csv has no {sorted(unknown)[0]!r}")
        senseless = frozenset((q, a) for q, _, a in (pair.partition("=") for pair in row["senseless_after"].split()))
        for asked, answer in senseless:
            if answer not in {known.id for known in answers.get(asked, ())}:
                raise KnowledgeError(f"{at}, senseless_after: answers.csv has no {answer!r} to {asked!r}")
        observations.append(
            FaultObservation(
                id=_once(f"{at}, id", row["id"], seen),
                who=_choice(f"{at}, who", Who, row["who"]),
                seconds=_number(f"{at}, seconds", row["seconds"], 0, 7_200),
                power=_choice(f"{at}, power", ChainPower, row["power"]),
                needs_k=row["needs_k"] == "yes",
                pattern=_wish(f"{at}, pattern", row["pattern"]),
                meter=row["meter"],
                skip_when=skip,
                senseless_after=senseless,
                question=_filled(f"{at}, question", row["question"]),
                answers=own,
            )
        )
    if strangers := answers.keys() - seen:
        raise KnowledgeError(f"answers.csv: observations.csv has no {sorted(strangers)[0]!r}")
    for needed in (PICTURE_QUESTION, STOP_OBSERVATION, AFTER_STOP):
        if needed not in seen:
            raise KnowledgeError(f"{name}: {needed!r} is missing")
    return tuple(observations)


def _pairs(where: str, text: str, observation: FaultObservation) -> dict[str, float]:
    words = text.split()
    if not words or len(words) % 2:
        raise KnowledgeError(f"{where}: has to be answer and probability in pairs")
    given: dict[str, float] = {}
    for answer, probability in zip(words[::2], words[1::2], strict=True):
        if answer not in {known.id for known in observation.answers}:
            raise KnowledgeError(f"{where}: {observation.id!r} has no answer {answer!r}")
        if answer in given:
            raise KnowledgeError(f"{where}: answer {answer!r} is there twice")
        given[answer] = _number(where, probability, 0, 1)
    if sum(given.values()) > 1 + 1e-9:
        raise KnowledgeError(f"{where}: the probabilities add up to {sum(given.values()):g}, more than 1")
    return given


def _spread(
    given: Mapping[str, float], rest: NDArray[np.float64], observation: FaultObservation
) -> NDArray[np.float64]:
    """Listed answers as given; what is left in the proportions of `rest`; nothing below the floor. Sums to 1."""
    row = np.array([given.get(answer.id, 0.0) for answer in observation.answers])
    others = np.array([0.0 if answer.id in given else 1.0 for answer in observation.answers]) * rest
    if others.sum() > 0:
        row = row + (1 - row.sum()) * others / others.sum()
    row = np.maximum(row, FLOOR)
    return np.asarray(row / row.sum())


def _likelihoods(
    text: str, causes: Sequence[Cause], observations: Sequence[FaultObservation]
) -> tuple[dict[str, NDArray[np.float64]], dict[str, NDArray[np.float64]]]:
    name = "likelihoods.csv"
    position = {cause.id: index for index, cause in enumerate(causes)}
    by_id = {observation.id: observation for observation in observations}
    tables: dict[str, NDArray[np.float64]] = {}
    healthy: dict[str, NDArray[np.float64]] = {}
    seen: set[tuple[str, str]] = set()
    for line, row in _rows(name, text, ("observation", "cause", "likelihood")):
        at = f"{name}, line {line}"
        observation = by_id.get(row["observation"])
        if observation is None:
            raise KnowledgeError(f"{at}, observation: observations.csv has no {row['observation']!r}")
        key = (row["observation"], row["cause"])
        if key in seen:
            raise KnowledgeError(f"{at}: {key[0]!r} and {key[1]!r} are there twice")
        seen.add(key)
        given = _pairs(f"{at}, likelihood", row["likelihood"], observation)
        if row["cause"] == HEALTHY:
            if len(given) != len(observation.answers) or abs(sum(given.values()) - 1) > 1e-6:
                raise KnowledgeError(f"{at}: the row of {HEALTHY} has to give every answer and add up to 1")
            healthy[observation.id] = _spread(given, np.ones(len(given)), observation)
            tables[observation.id] = np.tile(healthy[observation.id], (len(causes), 1))
        elif row["cause"] not in position:
            raise KnowledgeError(f"{at}, cause: causes.csv has no {row['cause']!r}")
        elif observation.id not in healthy:
            raise KnowledgeError(f"{at}: the row of {HEALTHY} has to come first")
        else:
            tables[observation.id][position[row["cause"]]] = _spread(given, healthy[observation.id], observation)
    if missing := by_id.keys() - healthy.keys():
        raise KnowledgeError(f"{name}: {sorted(missing)[0]!r} has no rows")
    for table in (*tables.values(), *healthy.values()):
        table.setflags(write=False)
    return tables, healthy


def _contexts(text: str, causes: Sequence[Cause]) -> dict[str, dict[str, float]]:
    name = "contexts.csv"
    ids = {cause.id for cause in causes}
    found: dict[str, dict[str, float]] = {}
    for line, row in _rows(name, text, ("context", "cause", "factor")):
        at = f"{name}, line {line}"
        if row["cause"] not in ids:
            raise KnowledgeError(f"{at}, cause: causes.csv has no {row['cause']!r}")
        factors = found.setdefault(_filled(f"{at}, context", row["context"]), {})
        if row["cause"] in factors:
            raise KnowledgeError(f"{at}: {row['cause']!r} is there twice in {row['context']!r}")
        factors[row["cause"]] = _number(f"{at}, factor", row["factor"], 0.001, 1_000)
    return found


def _ranges(text: str) -> dict[str, Ranges]:
    name = "ranges.csv"
    found: dict[str, list[MeterRange]] = {}
    kinds: dict[str, tuple[str, int]] = {}
    columns = ("id", "unit", "readings", "answer", "from", "to", "tolerance", "source")
    for line, row in _rows(name, text, columns):
        at = f"{name}, line {line}"
        if row["unit"] not in ("V", "ohm"):
            raise KnowledgeError(f"{at}, unit: {row['unit']!r} is neither V nor ohm")
        low = _number(f"{at}, from", row["from"], -1e9, 1e12)
        high = _number(f"{at}, to", row["to"], -1e9, math.inf)
        if not low < high:
            raise KnowledgeError(f"{at}: from has to be below to")
        kind = (row["unit"], int(_number(f"{at}, readings", row["readings"], 1, 2)))
        if kinds.setdefault(row["id"], kind) != kind:
            raise KnowledgeError(f"{at}: unit and readings differ from the lines of {row['id']!r} above")
        parts = found.setdefault(row["id"], [])
        if parts and low < parts[-1].high:
            raise KnowledgeError(f"{at}: overlaps the range above it")
        parts.append(
            MeterRange(
                answer=row["answer"],
                low=low,
                high=high,
                tolerance=_number(f"{at}, tolerance", row["tolerance"], 0, 1e6),
                source=_filled(f"{at}, source", row["source"]),
            )
        )
    return {key: Ranges(key, kinds[key][0], kinds[key][1], tuple(parts)) for key, parts in found.items()}


FILES = (
    "about.toml",
    "causes.csv",
    "observations.csv",
    "answers.csv",
    "likelihoods.csv",
    "contexts.csv",
    "ranges.csv",
)


def parse(files: Mapping[str, str]) -> Knowledge:
    """Build and check the knowledge from the tables' texts, by file name (`FILES`).

    Raises KnowledgeError: a table is missing, or does not hold.
    """
    for name in FILES:
        if name not in files:
            raise KnowledgeError(f"{name}: missing")
    try:
        about = tomllib.loads(files["about.toml"])
        standing, on_screen = str(about["standing"]), str(about["on_screen"])
        anchors = tuple(Anchor(claim=entry["claim"], source=entry["source"]) for entry in about["anchor"])
    except (tomllib.TOMLDecodeError, KeyError, TypeError) as err:
        raise KnowledgeError(f"about.toml: {err}") from err
    causes = _causes(files["causes.csv"])
    ranges = _ranges(files["ranges.csv"])
    contexts = _contexts(files["contexts.csv"], causes)
    observations = _observations(files["observations.csv"], _answers(files["answers.csv"]), ranges, contexts)
    likelihood, healthy = _likelihoods(files["likelihoods.csv"], causes, observations)
    return Knowledge(causes, observations, likelihood, healthy, contexts, ranges, standing, on_screen, anchors)


def read_files(part: str = "") -> dict[str, str]:
    """The package's own tables as texts, by file name, for chains of that pixel kind (empty: a common one of 5 V).

    What depends on the kind stands in braces there: its volts, and what is too little and too much for it. Kinds of 5 V
    share one set, with the least of their upper limits, 5.3 V.
    """
    kind = PIXEL_KINDS[part or COMMON_PART]
    nominal, most = kind.nominal_volt, kind.highest_volt
    of_kind = {
        "plus": f"{nominal:g} V",
        "part": kind.name,
        "first_low": f"{0.95 * nominal:g}",
        "last_low": f"{kind.low_line_volt:g}",
        "most": f"{most:g}",
        "trim": f"{0.98 * nominal:.1f} and {1.02 * nominal:.1f}",
    }
    folder = resources.files("probe.faults") / "data"
    texts = {name: (folder / name).read_text(encoding="utf-8") for name in FILES}
    for name, value in of_kind.items():
        texts = {file: text.replace(f"{{{name}}}", value) for file, text in texts.items()}
    return texts


def part_of(chip: str) -> str:
    """The pixel kind whose tables hold for a chain's chip; empty for all of 5 V and for what is not known."""
    found = next((kind for name, kind in PIXEL_KINDS.items() if name.lower() == chip.lower()), None)
    return "" if found is None or found.nominal_volt == PIXEL_KINDS[COMMON_PART].nominal_volt else found.name


@cache
def load(part: str = "") -> Knowledge:
    """The package's own knowledge for a pixel kind (`part_of`), read and checked once. Raises KnowledgeError."""
    return parse(read_files(part))
