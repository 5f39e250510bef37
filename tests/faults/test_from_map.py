"""What the map tells the fault finder by itself."""

from __future__ import annotations

import re

import pytest

from probe.document.model import Chain, Pixel, PixelState, PlayfieldMap, Revision
from probe.document.model.harness import Batch, Feed, Joint, Supply
from probe.document.operations import add_chain, new_map, replace_chain
from probe.document.revisions import undo
from probe.faults.context import (
    FIRST_POWER,
    FOUR_COLOUR,
    JUST_SPLICED,
    MIXED_BATCH,
    SEVERAL_FEEDS,
    SEVERAL_SUPPLIES,
    UNLIKE_COLOURS,
    WORKED_WEEKS,
    days_between,
    derive,
    facts,
)
from probe.faults.joint import joint_sheet
from probe.faults.log import kept
from probe.faults.meter import judge, parse_readings
from probe.faults.search import make
from probe.task.task import Opened


def test_the_words_and_ranges_of_a_chain_are_those_of_its_own_volts() -> None:
    """WS2815: 9 to 13 V by its sheet, 12 V nominal (probe/harness/pixels.py [8])."""
    map_ = a_map()
    twelve = replace_chain(map_, map_.chain("a").model_copy(update={"chip": "ws2815"}))
    _, search = make(Opened(twelve, ("a",), now=NOW))
    known = search.knowledge
    ranges = known.ranges["volts-first"]
    for text, meaning in (
        ("12", "good"),
        ("13.2", "high"),
        ("11", "low"),
        ("5", "low"),
        ("1", "none"),
        ("-3", "reversed"),
    ):
        assert judge(parse_readings(text, ranges), ranges).answer == meaning, text
    words = [*(c.name + c.remedy for c in known.causes), *(o.question for o in known.observations)]
    words += [a.text for o in known.observations for a in o.answers]
    for line in words:
        left = line.replace("USB 5 V", "").replace("5 V buffer", "").replace("5 V board", "")
        assert not re.search(r"(?<![\d.])5 V", left), line
        assert "{plus}" not in line
    assert "12 V" in known.observation("volts-first").question
    assert "12 V: the wire" in " ".join(joint_sheet(twelve, "a", 2))
    _, five = make(Opened(map_, ("a",), now=NOW))
    assert "5 V" in five.knowledge.observation("volts-first").question


NOW = "2025-03-16T20:00:00Z"


def a_map(*, verified: int = 0, revisions: tuple[Revision, ...] = (), joints: tuple[Joint, ...] = ()) -> PlayfieldMap:
    pixels = tuple(Pixel(id=f"p{n}", verified=verified, batch="one" if n < 5 else "two") for n in range(8))
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0, pixels=pixels, joints=joints))
    return map_.model_copy(update={"revisions": revisions})


def revision(number: int, day: str, *, rewired: bool = False) -> Revision:
    return Revision(number=number, time=f"{day}T12:00:00Z", reason="work", rewired=("a",) if rewired else ())


def test_a_chain_that_nobody_has_seen_right_is_at_its_first_power_up() -> None:
    assert FIRST_POWER in derive(facts(a_map(), "a", now=NOW)).names


def test_a_splice_of_yesterday_is_known_with_its_place() -> None:
    joints = (
        Joint(after="p3", before="p4", made_on="2025-03-15"),
        Joint(after="p5", before="p6", made_on="2024-01-01"),
    )
    made = a_map(
        verified=1, revisions=(revision(1, "2025-01-01"), revision(2, "2025-03-15", rewired=True)), joints=joints
    )
    context = derive(facts(made, "a", now=NOW))
    assert JUST_SPLICED in context.names
    assert WORKED_WEEKS not in context.names
    assert context.near == 4


def test_without_joints_the_splice_is_where_pixels_are_unseen() -> None:
    made = a_map(verified=1, revisions=(revision(1, "2025-03-15", rewired=True),))
    chain = made.chain("a")
    pixels = tuple(
        p.model_copy(update={"state": PixelState.UNSEEN if n == 6 else PixelState.DARK})
        for n, p in enumerate(chain.pixels)
    )
    made = replace_chain(made, chain.model_copy(update={"pixels": pixels}))
    assert facts(made, "a", now=NOW).splice_near == 6


def test_a_chain_seen_right_long_ago_has_worked_for_weeks() -> None:
    made = a_map(verified=1, revisions=(revision(1, "2025-01-01"),))
    assert WORKED_WEEKS in derive(facts(made, "a", now=NOW)).names
    older = a_map(verified=1, revisions=(revision(1, "2024-01-01"), revision(2, "2025-02-01", rewired=True)))
    assert facts(older, "a", now=NOW).days_working is None  # nothing was seen right since the splice


def test_two_batches_are_a_mixed_chain() -> None:
    assert MIXED_BATCH in derive(facts(a_map(verified=1), "a", now=NOW)).names


@pytest.mark.parametrize(
    ("earlier", "later", "days"),
    [
        ("2025-03-14T20:00:00Z", NOW, 2.0),
        ("2025-03-16", NOW, 0.8),
        ("yesterday", NOW, None),
        ("", NOW, None),
        ("2025-03-16T21:00:00+01:00", NOW, 0.0),
    ],
)
def test_days_between_times_as_written(earlier: str, later: str, days: float | None) -> None:
    assert days_between(earlier, later) == days


def test_wires_take_the_joints_colours_before_the_batches() -> None:
    joint = Joint(after="p4", before="p5", leaving_5v="pink")
    made = a_map(joints=(joint,))
    one = Batch(id="one", name="One", five_volt="red", ground="white", data_in="green", data_out="blue")
    made = made.model_copy(update={"batches": (one, Batch(id="two", name="Two", data_in="yellow"))})
    _, five, ground, data, *_ = [line for line in joint_sheet(made, "a", 4) if "differ" not in line]
    assert ("(pad 5 V, pink)" in five, "(pad 5 V, colour not noted)" in five) == (True, True)
    assert ("(pad GND, white)" in ground, "(pad GND, colour not noted)" in ground) == (True, True)
    assert ("(pad DOUT, blue)" in data, "(pad DIN, yellow)" in data) == (True, True)
    assert all("colour not noted" in line for line in joint_sheet(made, "a", 7)[1:4])
    assert "(pad DIN, green)" in joint_sheet(made, "a", -1)[3]


def test_what_is_kept_can_be_undone_and_hides_no_older_revision() -> None:
    made = a_map(revisions=(revision(1, "2025-01-01"),))
    logged = kept(made, "a", time=NOW, reason="fault repaired", lines=("one answer",))
    assert logged.revisions[-1].number == 2
    assert logged.revisions[-1].changes[-1] == "one answer"
    assert logged.chain("a").note == "2025-03-16 fault repaired"
    assert undo(logged, time=NOW).chain("a").note == ""


def feed(name: str, pixel: str, supply: str, chain: str = "a") -> Feed:
    return Feed(id=name, name=name, chain=chain, pixel=pixel, supply=supply, fuse_a=2)


@pytest.mark.parametrize(
    ("feeds", "names"),
    [
        ((), set()),
        ((feed("f", "p0", "s"),), set()),
        ((feed("f", "p0", "s"), feed("g", "p5", "s")), {SEVERAL_FEEDS}),
        ((feed("f", "p0", "s"), feed("g", "p5", "t")), {SEVERAL_FEEDS, SEVERAL_SUPPLIES}),
    ],
)
def test_feeds_and_supplies_are_known_from_the_map(feeds: tuple[Feed, ...], names: set[str]) -> None:
    supplies = (Supply(id="s", name="One"), Supply(id="t", name="Two"))
    made = a_map().model_copy(update={"feeds": feeds, "supplies": supplies})
    assert set(derive(facts(made, "a", now=NOW)).names) & {SEVERAL_FEEDS, SEVERAL_SUPPLIES} == names


@pytest.mark.parametrize(
    ("leaving", "arriving", "unlike"),
    [
        (("red", "white", "blue"), ("red", "white", "green"), False),  # data in and out often differ by themselves
        (("red", "white", "blue"), ("white", "red", "blue"), True),
        (("red", "white", "blue"), ("blue", "white", "red"), True),
        (("red", "white", "blue"), ("Red ", "white", ""), False),
        (("", "", ""), ("red", "white", "blue"), False),
        (("red", "", "white"), ("red", "white", "blue"), True),
    ],
)
def test_wires_that_would_be_crossed_by_colour_are_known_from_the_joint_sheet(
    leaving: tuple[str, str, str], arriving: tuple[str, str, str], unlike: bool
) -> None:
    one = Batch(id="one", name="One", five_volt=leaving[0], ground=leaving[1], data_out=leaving[2])
    two = Batch(id="two", name="Two", five_volt=arriving[0], ground=arriving[1], data_in=arriving[2])
    chain = a_map(joints=(Joint(after="p4", before="p5"),)).chain("a")
    only = tuple(
        p.model_copy(update={"batch": "one" if n == 4 else "two" if n == 5 else None})
        for n, p in enumerate(chain.pixels)
    )
    made = replace_chain(a_map(), chain.model_copy(update={"pixels": only}))
    made = made.model_copy(update={"batches": (one, two)})
    assert (UNLIKE_COLOURS in derive(facts(made, "a", now=NOW)).names) == unlike


def test_four_colours_are_known_from_the_byte_order() -> None:
    made = a_map()
    four = replace_chain(made, made.chain("a").model_copy(update={"order": "GRBW"}))
    assert FOUR_COLOUR in derive(facts(four, "a", now=NOW)).names
    assert FOUR_COLOUR not in derive(facts(made, "a", now=NOW)).names
