"""Each finding appears for its cause and only for it; demonstration maps are clean."""

from __future__ import annotations

import re

import pytest
from hypothesis import given

from probe.document import checks
from probe.document import operations as op
from probe.document.checks import FAR_APART, Finding, Severity, check_map
from probe.document.file import demo_map_path, load_map
from probe.document.model import Bookmark, Chain, Kind, Lamp, Pixel, PixelState, Place, PlayfieldMap, Position
from probe.document.model.game import Verdict
from probe.document.model.harness import Feed, Joint, Supply
from probe.document.proving import add_observation, add_proof, standings
from probe.document.wiring import joint_at, put_joint
from tests.document.strategies import maps


def clean() -> PlayfieldMap:
    """Two chains of three, all placed, nothing to find."""
    map_ = op.new_map("Kelp Forest")
    for output, name in enumerate(("playfield", "backbox")):
        map_ = op.add_chain(map_, Chain(id=name, name=name.title(), output=output))
        for number in range(3):
            map_, place = op.add_place(map_, f"{name} {number}", area=name)
            map_ = op.assign_place(map_, name, number, place.id)
        map_ = op.set_count(map_, name, 3)
    return map_


def with_pixel(map_: PlayfieldMap, chain: str, number: int, **update: object) -> PlayfieldMap:
    pixel = op.pixel_at(map_, chain, number)
    return op.set_pixel(map_, chain, number, pixel.model_copy(update=update))


def with_chain(map_: PlayfieldMap, chain: str, **update: object) -> PlayfieldMap:
    return op.replace_chain(map_, map_.chain(chain).model_copy(update=update))


def with_places(map_: PlayfieldMap, *places: Place) -> PlayfieldMap:
    return map_.model_copy(update={"places": map_.places + places})


def lamp_list(*numbers: int) -> tuple[Lamp, ...]:
    return tuple(Lamp(number=number, name=f"Lamp {number}") for number in numbers)


def joined(map_: PlayfieldMap, *numbers: int) -> PlayfieldMap:
    """The first places with one lamp each, the others in a group."""
    for at, place in enumerate(map_.places):
        update = {"lamps": (numbers[at],)} if at < len(numbers) else {"group": "always on"}
        map_ = op.update_place(map_, place.model_copy(update=update))
    return map_


def seen_wrong() -> PlayfieldMap:
    map_ = op.set_lamps(joined(clean(), 7), lamp_list(7))
    wrong = next(row for row in standings(map_) if row.lamp == 7)
    return add_proof(map_, wrong, Verdict.WRONG, time="2025-03-16T10:05:00Z", by_table=True)


def far_apart(distance: int) -> PlayfieldMap:
    map_ = op.set_count(clean(), "playfield", 3 + distance)
    for number in range(3, 2 + distance):
        map_ = op.set_state(map_, "playfield", number, PixelState.SPARE)
    return op.assign_place(map_, "playfield", 2 + distance, map_.places[2].id)


def wired(map_: PlayfieldMap, *, feed_pixel: str, supply: str, after: str) -> PlayfieldMap:
    """One supply called main, one feed, and a joint that ends at the playfield's second pixel."""
    feed = Feed(id="a", name="A", chain="playfield", pixel=feed_pixel, supply=supply)
    map_ = with_chain(map_, "playfield", joints=(Joint(after=after, before="playfield-1"),))
    return map_.model_copy(update={"supplies": (Supply(id="main", name="Main"),), "feeds": (feed,)})


def rechanged(map_: PlayfieldMap, index: int, **update: object) -> PlayfieldMap:
    return op.update_place(map_, map_.places[index].model_copy(update=update))


def at_places(map_: PlayfieldMap, *points: tuple[float, float] | None, guessed: bool = False) -> PlayfieldMap:
    """The first places at these points."""
    for index, point in enumerate(points):
        if point is not None:
            map_ = rechanged(map_, index, position=Position(x_mm=point[0], y_mm=point[1], guessed=guessed))
    return map_


def with_wire(map_: PlayfieldMap, *lengths_mm: float | None) -> PlayfieldMap:
    """The playfield's joints with these lengths."""
    for number, length_mm in enumerate(lengths_mm):
        joint = joint_at(map_.chain("playfield"), number).model_copy(update={"length_mm": length_mm})
        map_ = put_joint(map_, "playfield", joint)
    return map_


SPACED = with_chain(clean(), "playfield", spacing_mm=90)
OUTSIDE = Position(x_mm=600, y_mm=10)
CASES: dict[str, tuple[PlayfieldMap, list[tuple[str, str | None, int | None]]]] = {
    "clean": (clean(), []),
    "no chains": (op.new_map("Kelp Forest"), [("no-chains", None, None)]),
    "output twice": (with_chain(clean(), "backbox", output=0), [("output-twice", "backbox", None)]),
    "beyond count": (with_chain(clean(), "playfield", count=2), [("beyond-count", "playfield", 2)]),
    "repeater with a place": (
        with_pixel(clean(), "playfield", 1, state=PixelState.REPEATER),
        [("state-with-place", "playfield", 1)],
    ),
    "spare with a place": (
        with_pixel(clean(), "backbox", 2, state=PixelState.SPARE),
        [("state-with-place", "backbox", 2)],
    ),
    "dead with a place is fine": (with_pixel(clean(), "backbox", 2, state=PixelState.DEAD), []),
    "placed without place": (
        op.set_pixel(op.set_count(clean(), "backbox", 4), "backbox", 3, Pixel(id="x", state=PixelState.PLACED)),
        [("placed-without-place", "backbox", 3)],
    ),
    "ceiling as high as idle": (with_chain(clean(), "playfield", ceiling_ma=3), []),
    "ceiling below idle": (with_chain(clean(), "playfield", ceiling_ma=2), [("ceiling-below-idle", "playfield", None)]),
    "count unknown": (op.set_count(clean(), "playfield", None), [("count-unknown", "playfield", None)]),
    "gap": (
        op.set_state(op.set_count(clean(), "playfield", 6), "playfield", 5, PixelState.SPARE),
        [("gap", "playfield", 3)],
    ),
    "unfinished": (op.set_count(clean(), "playfield", 6), [("unfinished", "playfield", 3)]),
    "unfinished without pixels in the map": (
        with_chain(clean(), "backbox", count=5),
        [("unfinished", "backbox", 3)],
    ),
    "bookmark on the last": (op.set_bookmark(clean(), "playfield", 2), []),
    "bookmark beyond": (op.set_bookmark(clean(), "playfield", 3), [("bookmark-beyond", "playfield", 3)]),
    "label twice": (rechanged(clean(), 1, label=" PLAYFIELD  0"), [("label-twice", None, None)]),
    "label in two areas": (rechanged(clean(), 3, label="Playfield 0"), [("label-in-two-areas", None, None)]),
    "place without pixels": (
        with_places(clean(), Place(id="extra", label="Extra")),
        [("place-without-pixels", None, None)],
    ),
    "places and lamps of a machine that has no chain yet": (
        with_places(
            op.set_lamps(op.new_map("Kelp Forest"), lamp_list(8)), Place(id="extra", label="Extra", lamps=(8,))
        ),
        [("no-chains", None, None)],
    ),
    "place on two chains": (
        op.drop_unused_place(op.assign_place(clean(), "backbox", 1, "playfield-1"), "backbox-1"),
        [("place-on-two-chains", None, None)],
    ),
    "place just near enough": (far_apart(FAR_APART), []),
    "place far apart": (far_apart(FAR_APART + 1), [("place-far-apart", "playfield", 3 + FAR_APART)]),
    "all lamps joined": (op.set_lamps(joined(clean(), 7, 8), lamp_list(7, 8)), []),
    "lamp without place": (op.set_lamps(joined(clean(), 7), lamp_list(7, 8)), [("lamp-without-place", None, None)]),
    "lamp number twice": (op.set_lamps(joined(clean(), 7), lamp_list(7, 7)), [("lamp-number-twice", None, None)]),
    "lamp name twice": (
        op.set_lamps(joined(clean(), 7, 8), (Lamp(number=7, name="Reef"), Lamp(number=8, name="REEF "))),
        [("lamp-name-twice", None, None)],
    ),
    "a row without a number is joined by its group and name": (
        op.set_lamps(joined(clean(), 7), (*lamp_list(7), Lamp(name="Playfield 1", group="always on"))),
        [],
    ),
    "a row without a number, and no such place": (
        op.set_lamps(joined(clean(), 7), (*lamp_list(7), Lamp(name="Apron glow", group="always on"))),
        [("lamp-without-place", None, None)],
    ),
    "a lamp whose place no pixel lights": (
        with_places(op.set_lamps(joined(clean(), 7), lamp_list(7, 8)), Place(id="extra", label="Extra", lamps=(8,))),
        [("lamp-without-pixel", None, None), ("place-without-pixels", None, None)],
    ),
    "a pixel in two lamps": (
        op.set_lamps(rechanged(joined(clean(), 7), 1, lamps=(7, 8)), lamp_list(7, 8)),
        [("pixel-in-two-lamps", "playfield", 1)],
    ),
    "a pixel without a job": (
        op.set_lamps(rechanged(joined(clean(), 7), 1, group=" "), lamp_list(7)),
        [("pixel-without-job", "playfield", 1)],
    ),
    "found wrong in the game": (seen_wrong(), [("proved-wrong", None, None)]),
    "found wrong, and changed since": (
        op.update_place(seen_wrong(), seen_wrong().places[0].model_copy(update={"level": 9})),
        [],
    ),
    "seen otherwise": (
        add_observation(clean(), time="2025-03-16T10:05:00Z", lamp=7, predicted="Reef lane 1", seen="[/x]\n"),
        [("seen-otherwise", None, None)],
    ),
    "lamp unknown": (op.set_lamps(joined(clean(), 7, 9), lamp_list(7)), [("lamp-unknown", None, None)]),
    "no lamp list, nothing to compare": (joined(clean(), 9), []),
    "feed and joint that hold": (wired(clean(), feed_pixel="playfield-2", supply="main", after="playfield-0"), []),
    "feed lost": (
        wired(clean(), feed_pixel="gone", supply="main", after="playfield-0"),
        [("feed-lost", "playfield", None)],
    ),
    "feed without supply": (
        wired(clean(), feed_pixel="playfield-2", supply="other", after="playfield-0"),
        [("feed-without-supply", "playfield", None)],
    ),
    "joint lost": (
        wired(clean(), feed_pixel="playfield-2", supply="main", after="playfield-2"),
        [("joint-lost", "playfield", None)],
    ),
    "batch unknown": (with_pixel(clean(), "backbox", 1, batch="march"), [("batch-unknown", "backbox", None)]),
    "wire just long enough": (with_wire(at_places(clean(), (0, 0), (30, 40)), None, 50), []),
    "wire too short": (
        with_wire(at_places(clean(), (0, 0), (30, 40)), None, 49),
        [("wire-too-short", "playfield", 1)],
    ),
    "the chain's spacing too short, twice": (
        at_places(SPACED, (0, 0), (100, 0), (0, 0)),
        [("wire-too-short", "playfield", 1), ("wire-too-short", "playfield", 2)],
    ),
    "the first wire comes from the board": (with_wire(at_places(clean(), (300, 300), (300, 310)), 10, 20), []),
    "a pixel without position between": (at_places(SPACED, (0, 0), None, (179, 0)), []),
    "a pixel without position between, too short": (
        with_wire(at_places(SPACED, (0, 0), None, (179, 0)), None, 80),
        [("wire-too-short", "playfield", 2)],
    ),
    "nobody noted the wire": (with_wire(at_places(clean(), (0, 0), None, (179, 0)), None, 80), []),
    "a guessed position proves nothing": (at_places(SPACED, (0, 0), (300, 0), guessed=True), []),
    "outside": (rechanged(clean(), 0, position=OUTSIDE), [("position-outside", None, None)]),
    "a backbox is outside": (rechanged(clean(), 0, position=OUTSIDE, kind=Kind.BACKBOX), []),
}


@pytest.mark.parametrize("case", CASES)
def test_each_cause_gives_its_finding_and_no_other(case: str) -> None:
    map_, expected = CASES[case]
    found = check_map(map_)
    assert [(f.code, f.where.chain, f.where.number) for f in found] == expected
    for finding in found:
        assert finding.what
        assert finding.what_to_do


def test_every_code_has_a_case_and_stands_in_the_table() -> None:
    tested = {code for _, expected in CASES.values() for code, _, _ in expected}
    assert checks.__doc__ is not None
    listed = dict(re.findall(r"^\| ([a-z-]+) \| (fault|warning|hint) \|", checks.__doc__, re.MULTILINE))
    assert tested == set(listed)
    for map_, _ in CASES.values():
        for finding in check_map(map_):
            assert listed[finding.code] == finding.severity


def test_faults_come_first_then_the_order_of_the_wire() -> None:
    map_ = op.set_count(clean(), "playfield", 9)
    map_ = with_pixel(map_, "backbox", 1, state=PixelState.SPARE)
    map_ = with_pixel(map_, "playfield", 2, state=PixelState.REPEATER)
    map_ = map_.model_copy(update={"bookmark": Bookmark(chain="playfield", number=12)})
    codes = [(f.severity, f.code, f.where.chain) for f in check_map(map_)]
    assert codes == [
        (Severity.FAULT, "state-with-place", "playfield"),
        (Severity.FAULT, "state-with-place", "backbox"),
        (Severity.WARNING, "bookmark-beyond", "playfield"),
        (Severity.HINT, "unfinished", "playfield"),
    ]


@pytest.mark.slow
@given(maps())
def test_any_map_can_be_checked_and_the_order_of_findings_is_fixed(map_: PlayfieldMap) -> None:
    first = check_map(map_)
    assert check_map(PlayfieldMap.model_validate_json(map_.model_dump_json())) == first
    for finding in first:
        assert finding.severity in Severity
        assert not re.search("[\x00-\x1f\x7f-\x9f]", finding.what)
        assert Finding.model_validate_json(finding.model_dump_json()) == finding


def test_the_complete_demonstration_has_nothing_to_find() -> None:
    assert check_map(load_map(demo_map_path("kelp_forest.json"))) == ()


def test_the_half_demonstration_only_has_work_to_do() -> None:
    codes = {f.code for f in check_map(load_map(demo_map_path("kelp_forest_half.json")))}
    assert codes == {"unfinished", "lamp-without-place"}


def test_a_shortened_stretch_of_the_demonstration_is_named() -> None:
    map_ = load_map(demo_map_path("kelp_forest.json"))
    joint = joint_at(map_.chain("playfield"), 10)  # Right sling glow 2 to Dive again, 281 mm apart
    (found,) = check_map(put_joint(map_, "playfield", joint.model_copy(update={"length_mm": None})))
    assert found.what == (
        "90 mm of wire are noted from pixel 9 (10th) to 10 (11th), by the spacing of the chain, "
        "and “Right sling glow 2” and “Dive again” are 281 mm apart"
    )
