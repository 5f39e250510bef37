"""The fault tables: complete, consistent, separable, and refused with a clear error when they are not."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from probe.faults.context import TEXTS
from probe.faults.knowledge import CauseGroup, ChainPower, Who
from probe.faults.tables import FILES, KnowledgeError, load, parse, read_files
from probe.patterns.patterns import pattern
from probe.practice.plant import PLANTERS

KNOWLEDGE = load()


def test_there_are_causes_in_every_group() -> None:
    assert len(KNOWLEDGE.causes) >= 50
    assert {cause.group for cause in KNOWLEDGE.causes} == set(CauseGroup)


@pytest.mark.slow
def test_no_pair_of_causes_is_without_a_separating_observation() -> None:
    for one, two in itertools.combinations(KNOWLEDGE.causes, 2):
        if one.repair == two.repair:
            continue
        apart, by = KNOWLEDGE.separation(one.id, two.id)
        assert apart >= 0.45, f"{one.id} and {two.id} are only {apart:.2f} apart, by {by}"


def test_likelihoods_are_distributions_without_impossible_answers() -> None:
    for observation in KNOWLEDGE.observations:
        table = KNOWLEDGE.likelihood[observation.id]
        assert table.shape == (len(KNOWLEDGE.causes), len(observation.answers))
        np.testing.assert_allclose(table.sum(axis=1), 1.0)
        assert table.min() > 0


def test_every_pattern_a_question_wants_exists() -> None:
    wished = [o.pattern for o in KNOWLEDGE.observations if o.pattern is not None]
    assert len(wished) > 15
    for wish in wished:
        pattern(wish.name, dict(wish.arguments))


def test_whoever_needs_a_pattern_needs_power() -> None:
    for observation in KNOWLEDGE.observations:
        if observation.pattern is not None:
            assert observation.power is ChainPower.ON, observation.id


def test_every_kind_of_hand_is_asked() -> None:
    assert {observation.who for observation in KNOWLEDGE.observations} == set(Who)


def test_the_normal_answer_is_the_most_probable_without_a_fault() -> None:
    for observation in KNOWLEDGE.observations:
        best = observation.answers[int(np.argmax(KNOWLEDGE.healthy[observation.id]))]
        assert best.normal, observation.id


def test_contexts_have_texts_and_shift_the_weights() -> None:
    assert set(KNOWLEDGE.contexts) == set(TEXTS)
    ids = [cause.id for cause in KNOWLEDGE.causes]
    plain, spliced = KNOWLEDGE.prior(), KNOWLEDGE.prior(["just-spliced"])
    assert spliced[ids.index("joint-open")] > 1.5 * plain[ids.index("joint-open")]
    assert spliced[ids.index("supply-high")] < plain[ids.index("supply-high")]
    with pytest.raises(KeyError, match="no context 'rain'"):
        KNOWLEDGE.prior(["rain"])


def test_every_cause_can_be_planted() -> None:
    assert set(PLANTERS) == {cause.id for cause in KNOWLEDGE.causes}


def test_it_says_that_it_is_judgement_and_names_its_anchors() -> None:
    assert "not field data" in KNOWLEDGE.standing
    assert "not field data" in KNOWLEDGE.on_screen
    assert all(anchor.source for anchor in KNOWLEDGE.anchors)


def test_texts_hold_only_known_placeholders() -> None:
    texts = [t for c in KNOWLEDGE.causes for t in (c.name, c.remedy, c.caution)]
    texts += [o.question for o in KNOWLEDGE.observations]
    texts += [a.text for o in KNOWLEDGE.observations for a in o.answers]
    assert {found for text in texts for found in re.findall(r"\{.*?\}", text)} <= {"{k}", "{k1}"}


def test_an_observation_without_a_place_does_not_name_one() -> None:
    for observation in KNOWLEDGE.observations:
        assert ("{k" in observation.question) == observation.needs_k, observation.id


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("causes.csv", "id,group", "id,kind", "causes.csv, line 1: the columns have to be"),
        ("causes.csv", "no-5v,power,feed-dead,6,", "no-5v,power,feed-dead,six,", "causes.csv, line 2, weight: 'six'"),
        (
            "causes.csv",
            "no-5v,power,feed-dead,6,none,",
            "no-5v,steam,feed-dead,6,none,",
            "line 2, group: 'steam' is none of",
        ),
        ("causes.csv", "supply-weak,power", "no-5v,power", "line 3, id: 'no-5v' is there twice"),
        (
            "causes.csv",
            "no-5v,power,feed-dead,6,none,",
            "no-5v,power,feed-dead,6,none,one, two,",
            "fields instead of 9",
        ),
        ("causes.csv", "no-5v,power,feed-dead,", "no-5v,power,,", "line 2, repair: empty"),
        ("observations.csv", "walk,eye,40", "walk,nose,40", "who: 'nose' is none of"),
        ("observations.csv", ",supply-ohms,,,Power", ",no-ohms,,,Power", "ranges.csv has no 'no-ohms'"),
        ("observations.csv", "look=fades", "look=pink", "senseless_after: answers.csv has no 'pink' to 'look'"),
        ("observations.csv", "look,eye", "peek,eye", "answers.csv has to give 'peek'"),
        ("answers.csv", "heat,no,yes,", "heat,no,,", "one of them normal"),
        ("answers.csv", "heat,yes,,", "heat,yes,perhaps,", "'perhaps' is neither empty nor yes"),
        ("likelihoods.csv", "no-link,no 0.97", "no-link,no 1.97", "is not a number from 0 to 1"),
        ("likelihoods.csv", "no-link,no 0.97", "no-link,no", "answer and probability in pairs"),
        ("likelihoods.csv", "no-link,no 0.97", "no-link,never 0.97", "has no answer 'never'"),
        ("likelihoods.csv", "link-answers,no-link", "link-answers,no-lonk", "causes.csv has no 'no-lonk'"),
        ("likelihoods.csv", "yes 0.995 no 0.005", "yes 0.995 no 0.1", "add up to 1.095"),
        ("likelihoods.csv", "yes 0.995 no 0.005", "yes 0.5 no 0.005", "add up to 1"),
        ("contexts.csv", "play-only,input-unwired,8", "play-only,input-unwired,nan", "is not a number"),
        ("contexts.csv", "play-only,input-unwired,8", "play-only,stars,8", "causes.csv has no 'stars'"),
        ("ranges.csv", "supply-ohms,ohm,1,short,0,2", "supply-ohms,ohm,1,short,2,0", "from has to be below to"),
        ("ranges.csv", "supply-ohms,ohm,1,free,20", "supply-ohms,ohm,1,free,1", "overlaps"),
        ("ranges.csv", "supply-ohms,ohm,1,free", "supply-ohms,V,1,free", "differ from the lines"),
        ("about.toml", "standing =", "standing", "about.toml:"),
    ],
)
def test_a_damaged_table_is_refused_with_file_and_line(file: str, old: str, new: str, said: str) -> None:
    files = read_files()
    assert old in files[file]
    files[file] = files[file].replace(old, new, 1)
    with pytest.raises(KnowledgeError) as caught:
        parse(files)
    assert said in str(caught.value)
    assert str(caught.value).startswith(
        ("causes", "observations", "answers", "likelihoods", "contexts", "ranges", "about")
    )


def test_a_missing_table_is_named() -> None:
    files = read_files()
    del files["answers.csv"]
    with pytest.raises(KnowledgeError, match=r"answers\.csv: missing"):
        parse(files)
    assert set(read_files()) == set(FILES)
