"""The finder on stories written from electronics: right outside its own tables, calibrated in its words, never unsafe."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence

import pytest

from probe.faults.engine import UNSURE
from probe.faults.meter import judge, parse_readings
from tests.faults.story import FOLDER, Story, read, score

STORIES = read(FOLDER / "known.toml")
UNSEEN = read(FOLDER / "unseen-translated.toml")
"""Written by somebody who had not seen the finder's tables, and put into its questions after those were frozen."""
FRESH = read(FOLDER / "unseen-2-translated.toml")
"""The same again by somebody else, after the finder had been mended with the first thirty in view.

First score, before anything was changed for them: strict first 70.0 %, among three 83.3 %, 6.90 questions, unsafe 0; with 7 %
wrong and 7 % not sure 66.7 % and 77.8 %; "very likely" right 73.3 % of 15 and 81.1 % of 37. What they showed was mended where
electricity says so, not for them alone: an open 5 V wire, a poor feed and a feed's open ground are causes; a jumper past a
pixel needs that pixel's DOUT lifted, or the two fight; a burnt output lies low; the last pixel that is sent for passes nothing
on; a leak of some hundred ohms is a fault. Since then they are no blind check: strict 93.3 % and 96.7 %, 5.47 questions, noisy
83.3 % and 94.4 %, "very likely" right 100 % of 18 and of 33. fresh-30, a damp film between two pads, is still not found.
"""
THIRD = read(FOLDER / "unseen-3-translated.toml")
"""Thirty more, put into the finder's questions after it had been mended with the sixty before in view.

First score, with nothing tuned to them, over all thirty (three causes that it did not know then counted as misses): strict first
80.0 %, among three 86.7 %, 5.19 questions over the 27 that could be searched, unsafe 0; with 7 % wrong and 7 % not sure 70.0 % and
81.1 %; "very likely" right 93.3 % of 15 and 84.4 % of 32. Since then they were learned from, as the next thirty were.
"""
FOURTH = read(FOLDER / "unseen-4-translated.toml")
"""Thirty more, written blind by somebody else and learned from at once: they never were a check."""
FIFTH = read(FOLDER / "unseen-5-translated.toml")
"""Thirty more by a third author, opened when the finder was frozen and put into its questions before any of them was run.

First score, with nothing tuned to them, over all thirty (one cause that it did not know then counted as a miss): strict first
90.0 %, among three 93.3 %, 5.52 questions over the 29 that could be searched, unsafe 0, "very likely" right 100 % of 17; with 7 %
wrong and 7 % not sure (three seeds) 80.0 % and 92.2 %, "very likely" right 97.5 % of 40; with ten seeds 78.0 % and 88.3 %, 97.7 % of
131. Missed: a leak at the first pixel, taken for its dead input, and an old part's speed, which stands on no paper. Since then they
were learned from.
"""
SEALED = read(FOLDER / "unseen-6-translated.toml")
"""Thirty more by another author, opened when the finder was frozen and put into its questions before any of them was run."""
SEVENTH = read(FOLDER / "unseen-7-translated.toml")
"""Thirty more by another author, opened when the finder was frozen with ten questions and second looks, and put into its
questions before any of them was run.

First score, with nothing tuned to them: strict first 86.7 % (aim 90), among three 96.7 % (aim 96), 4.97 questions (aim 5.5), unsafe
0, "very likely" right 91.3 % of 23 (aim 90); with 7 % wrong and 7 % not sure (three seeds) 82.2 % (aim 82) and 94.4 % (aim 92), "very
likely" right 89.8 % of 59; with ten seeds 79.7 % and 92.7 %, 87.8 % of 197. Missed: a poor plug in mid-chain, taken for thin wire; a
leak at the first DIN, taken for a low level; a weak supply whose chain sank evenly, taken for one set too low; a slow level shifter
on a long lead, taken for the lead. Who translated them knew the tables.

They showed what was mended then, each from its circuit: a leak at the first DIN is a cause of its own, which a good pixel's output
before it overrides; whether white turns at one place or little by little is asked; a weak supply can sink evenly; a short lead helps
a pull-up. Since then they are no blind check.
"""
EIGHTH = read(FOLDER / "unseen-8-translated.toml")
"""Thirty more by an author who knew nothing of the finder. Put into its questions, before any was run, by people who had seen its
questions and causes but not its likelihoods.

First score, with the finder frozen and nothing tuned to them: strict first 83.3 % (aim 90), among three 90.0 % (aim 96), 5.80
questions (aim 5.5), unsafe 0, "very likely" right 94.1 % of 17 (aim 90). A little earlier, with the bar for "very likely" as it was
before answers that were not sure or asked twice raised it, with 7 % wrong and 7 % not sure (ten seeds): 75.3 % and 84.3 %, 6.37
questions, "very likely" right 89.2 % of 148. Missed: a supply too small whose chain sinks evenly, 3.3 V data over a long lead, a
wrong speed that shows white, a pixel that stops passing data when warm, a 12 V piece in a 5 V chain.

They showed what was mended then, each from its circuit: a slow speed set for fast pixels reads zeros as ones, so that all is white,
no paper of the pixels differs and a good pixel misreads as well; a pixel that fails when warm may leave the tail as it was; a
supply that holds its current sinks alike along the chain. Since then they are no blind check: strict 90.0 % and 96.7 %, 5.73
questions (still above the aim), noisy (three seeds) 76.7 % and 86.7 %, from 71.1 % and 81.1 %. Not found: the
supply too small, 3.3 V over a long lead (taken for the lead) and the 12 V piece.
"""
NINTH = read(FOLDER / "unseen-9-translated.toml")
"""Thirty more by yet another author, put into the finder's questions in the same way.

First score: strict first 90.0 % (aim 90), among three 90.0 % (aim 96), 5.00 questions (aim 5.5), unsafe 0, "very likely" right 93.8 %
of 16 (aim 90); with 7 % wrong and 7 % not sure (ten seeds) 80.7 % (aim 82) and 87.7 % (aim 92), 5.74 questions, "very likely" right
93.8 % of 113. Missed: a single 12 V pixel, taken for a dead LED, which has the same cure; a supply set too low, taken for thin wire;
a poor feed, taken for a board that pulls the chain through its USB.

Second score, after the eighth thirty had been learned from and with nothing tuned to these: strict the same, 90.0 % and 90.0 %, 5.00
questions, unsafe 0, "very likely" right 93.8 % of 16; noisy (three seeds) 81.1 % and 85.6 %, 91.2 % of 34, before and after.

They showed what was mended then, each from its circuit: a 12 V pixel may stay dark and pass the data on, and a mixed batch brings one
sooner; a supply set low may tint the far end as thin wire does; a board whose pixels have a supply of their own rarely starts over by
their load. Since then they are no blind check. Not found: the supply set low, read with a meter that shows too much, and the poor
feed whose board carries the light.
"""
TENTH = read(FOLDER / "unseen-10-translated.toml")
"""Thirty more by yet another author, put into the finder's questions in the same way.

First score: strict first 83.3 % (aim 90), among three 93.3 % (aim 96), 5.33 questions (aim 5.5), unsafe 0, "very likely" right 94.1 %
of 17 (aim 90); with 7 % wrong and 7 % not sure (ten seeds) 74.0 % (aim 82) and 85.0 % (aim 92), 5.96 questions, "very likely" right
93.0 % of 128. Missed: a count set too small, taken for a dead output; a wrong speed, a leak at the first DIN, taken for 3.3 V data
that is only just enough; a supply's plug half in, so that the chain runs on USB, taken for a brown-out of the board; a feed's minus
over a screw that the coils share, taken for their noise.
"""
ALL = (*STORIES, *UNSEEN, *FRESH, *THIRD, *FOURTH, *FIFTH, *SEALED, *SEVENTH, *EIGHTH, *NINTH, *TENTH)
NEW = {
    "fuse-open",
    "section-feed-open",
    "ground-by-charger",
    "section-ground-apart",
    "joint-data-gnd",
    "joint-data-five",
    "joint-five-gnd",
    "segment-reversed",
    "power-joint-loose",
    "rgb-among-rgbw",
    "part-12v",
    "light-leaks",
    "board-brownout",
}


def test_there_are_enough_stories_and_every_answer_is_one() -> None:
    assert len(STORIES) >= 50
    for number, stories in enumerate(
        (UNSEEN, FRESH, THIRD, FOURTH, FIFTH, SEALED, SEVENTH, EIGHTH, NINTH, TENTH), start=1
    ):
        name = "unseen" if number == 1 else f"unseen-{number}"
        written = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))["story"]
        assert sorted(story.name for story in stories) == [story["name"] for story in written]
        assert len(stories) == 30
    assert {story.cause for story in STORIES} >= NEW
    assert len({story.name for story in STORIES}) == len(STORIES)
    for story in ALL:
        knowledge = story.knowledge
        knowledge.cause(story.cause)
        assert set(story.contexts) <= knowledge.contexts.keys()
        assert len(story.seen) >= 2, story.name
        for asked, answer in story.seen.items():
            known = knowledge.observation(asked)
            if answer != UNSURE and answer not in {one.id for one in known.answers}:
                ranges = knowledge.ranges[known.meter]
                assert judge(parse_readings(answer, ranges), ranges).shares, (story.name, asked)


@pytest.mark.slow
@pytest.mark.parametrize(
    "stories",
    [STORIES, UNSEEN, FRESH, THIRD, FOURTH, FIFTH, SEVENTH],
    ids=["known", "unseen", "fresh", "third", "fourth", "fifth", "seventh"],
)
def test_the_stories_own_causes_are_found(stories: Sequence[Story]) -> None:
    """Right is the right repair, of the likeliest suspect."""
    found = score(stories)
    assert found.first >= 0.90 * found.searches, found.missed
    assert found.in_three >= 0.96 * found.searches, found.missed
    assert found.questions <= 5.5 * found.searches
    assert found.unsafe == 0


@pytest.mark.slow
def test_over_all_stories_the_questions_are_few() -> None:
    found = score((*UNSEEN, *FRESH, *THIRD, *FOURTH, *FIFTH))
    assert found.questions <= 5.2 * found.searches


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.timeout(900)
def test_with_wrong_and_unsure_answers_they_are_found_less_often_and_the_words_hold() -> None:
    """7 % of answers wrong, 7 % not sure, over all stories."""
    found = score(ALL, seeds=3, wrong=0.07, unsure=0.07)
    assert found.first >= 0.82 * found.searches, found.missed
    assert found.in_three >= 0.92 * found.searches, found.missed
    assert found.unsafe == 0
    assert found.sure >= 0.4 * found.searches
    assert found.sure_right >= 0.90 * found.sure


@pytest.mark.slow
def test_the_sealed_thirty_are_found_no_less_often_than_at_first() -> None:
    """The first score, with nothing tuned to them; none is outside what the finder knows.

    Measured: strict first 93.3 % (aim 90), among three 100 % (aim 96), 5.23 questions (aim 5.5), "very likely" right 95.5 % of 22
    (aim 90); with 7 % wrong and 7 % not sure (three seeds) 78.9 % (aim 82) and 91.1 % (aim 92), "very likely" right 90.6 % of 53;
    with ten seeds 81.3 % and 93.3 %, 92.8 % of 180. Unsafe 0. Missed: a bridge at the last good pixel's DOUT, taken for its dead
    output, and a second feed's ground left off, taken for too thin a wire. Who translated them knew the tables.
    """
    strict = score(SEALED)
    assert strict.first >= 0.933 * strict.searches, strict.missed
    assert strict.in_three == strict.searches, strict.missed
    assert strict.questions <= 5.24 * strict.searches
    assert strict.sure >= 22
    assert strict.sure_right >= 0.954 * strict.sure
    noisy = score(SEALED, seeds=3, wrong=0.07, unsure=0.07)
    assert noisy.first >= 0.788 * noisy.searches, noisy.missed
    assert noisy.in_three >= 0.911 * noisy.searches, noisy.missed
    assert noisy.sure_right >= 0.90 * noisy.sure
    assert strict.unsafe == noisy.unsafe == 0


@pytest.mark.slow
@pytest.mark.long
def test_over_all_stories_seen_or_not_the_finder_holds_its_aims() -> None:
    found = score(ALL)
    assert found.first >= 0.90 * found.searches, found.missed
    assert found.in_three >= 0.96 * found.searches, found.missed
    assert found.questions <= 5.5 * found.searches
    assert found.unsafe == 0
    assert found.sure_right >= 0.90 * found.sure
