"""Practice rounds."""

from __future__ import annotations

import pytest

from probe.faults.engine import Session, answered, answered_by_reading, most_probable, next_step
from probe.faults.practice import Practice
from probe.faults.tables import load

K = load()


def test_a_round_can_be_played_to_its_end_from_what_is_told() -> None:
    """A person who believes what is told and picks the answer with that text finds the fault in most rounds."""
    right = 0
    for seed in range(20):
        round_ = Practice(K, seed=seed)
        session = Session()
        while (question := next_step(K, session).question) is not None:
            told = round_.told(question.id)
            if question.meter and not told.startswith("nothing"):
                session, _ = answered_by_reading(K, session, observation=question.id, typed=told)
                continue
            fits = [a.id for a in sorted(question.answers, key=lambda a: -len(a.text)) if told.startswith(a.text)]
            session = answered(
                K,
                session,
                observation=question.id,
                answer=fits[0] if fits else "unsure",
                k=round_.k if question.id == "look" else None,
            )
        right += any(round_.guess(cause).right for cause in most_probable(K, session))
    assert right >= 16


def test_the_same_seed_tells_the_same() -> None:
    one, two = Practice(K, seed=4), Practice(K, seed=4)
    assert one.planted == two.planted
    ids = [observation.id for observation in K.observations]
    assert [one.told(i) for i in ids] == [two.told(i) for i in ids]
    assert [one.told(i) for i in reversed(ids)] == [two.told(i) for i in reversed(ids)]


def test_a_guess_is_compared_and_the_remedy_told() -> None:
    round_ = Practice(K, seed=4)
    planted = round_.planted.causes[0]
    other = next(cause.id for cause in K.causes if cause.id != planted)
    assert round_.guess(planted).right
    assert not round_.guess(other).right
    assert K.cause(planted).remedy.split(" {")[0][:12] in round_.guess(planted).lines[0]
    with pytest.raises(KeyError):
        round_.guess("gremlins")
