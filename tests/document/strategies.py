"""Maps and texts for property tests, hostile ones among them."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import strategies as st

from probe.document.diff import as_order
from probe.document.model import (
    BYTE_ORDERS,
    Bookmark,
    Chain,
    Kind,
    Lamp,
    Machine,
    Pixel,
    PixelState,
    Place,
    PlayfieldMap,
    Position,
    Revision,
)
from probe.document.model.change import Change, What
from probe.document.model.evenings import Photo, WorkLine, WorkMoment
from probe.document.model.game import Discrepancy, Group, Proof, Verdict
from probe.document.model.harness import (
    Batch,
    Connector,
    Feed,
    Fixing,
    JoinedTo,
    Joint,
    Judged,
    Metered,
    MeterReading,
    Power,
    Supply,
)
from probe.document.model.light import Fade, Measure, Rating, Reading
from probe.document.model.open_recheck import OpenRecheck, PlaceShows, RecheckAnswer, Said
from probe.document.model.planning import (
    ChosenCut,
    ChosenRepair,
    ChosenSplice,
    HingeSide,
    KeepOut,
    KeepOutShape,
    PlanRules,
    RepairWay,
    WireEntry,
)
from probe.document.model.shape import DRAWN_BY_POINTS, USUAL_SIZES, Shape, ShapeKind

HOSTILE = (
    "[/x]",
    "[bold]x",
    "=1+1",
    "'=1",
    "''",
    "'",
    "' =1",
    "+1",
    "-cmd",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "\0=1",
    " =1",
    "＝1+1",
    "a,b;c|d",
    'say "kelp"',
    '": ',
    '\\": ',
    "back\\slash",
    "\\u001b",
    "\\\\u001b",
    "\\u005cu001b",
    "line\r\nbreak",
    "lone\rreturn",
    "NUL\0inside",
    "bell\x07 escape\x1b[31m delete\x7f csi\x9b31m",
    "next\x85line\u2028and\u2029page",
    "🐙🦦👩‍🚒",
    "שלום ריף",
    "\u202eturned\u2066around",
    "\ufeffmark",
    " spaces ",
    "5" * 500,
    "é" * 500,
    "NaN",
    "null",
    "007",
    "1e5",
    "record",
)

texts = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=40),
    st.text("'=+-@\t\r\n\0\\u001b\"',; ", max_size=12),
)
labels = texts.filter(bool)
identifiers = st.text("abz019-", min_size=1, max_size=6).filter(lambda text: text[0] != "-")
lengths = st.floats(-5_000, 5_000, allow_nan=False, allow_infinity=False)
positions = st.builds(Position, x_mm=lengths, y_mm=lengths, guessed=st.booleans())
lamp_numbers = st.integers(0, 9_999)
light_colours = st.sampled_from(["", "FF8020", "000000", "FF802040"])


def _unique_ids(records: list[Place]) -> tuple[Place, ...]:
    return tuple({record.id: record for record in records}.values())


places = st.builds(
    Place,
    id=identifiers,
    label=labels,
    area=texts,
    kind=st.sampled_from(Kind),
    position=st.none() | positions,
    lamps=st.lists(lamp_numbers, max_size=3).map(tuple),
    group=texts,
    level=st.none() | st.integers(0, 255),
    depth_mm=st.none() | st.floats(0, 500),
    diffuser=st.booleans(),
    colour=light_colours,
    note=texts,
)
_lamp_fields: dict[str, st.SearchStrategy[Any]] = {
    "name": labels,
    "area": texts,
    "kind": st.sampled_from(Kind),
    "driver": texts,
    "row": st.none() | st.integers(1, 64),
    "column": st.none() | st.integers(1, 64),
    "insert_colour": texts,
    "note": texts,
}
lamps = st.builds(Lamp, number=lamp_numbers, group=texts, **_lamp_fields) | st.builds(
    Lamp, number=st.none(), group=texts.filter(str.strip), **_lamp_fields
)
groups = st.builds(Group, name=labels, level=st.none() | st.integers(0, 255), colour=light_colours, note=texts)
proofs = st.builds(
    Proof,
    lamp=st.none() | lamp_numbers,
    group=texts,
    verdict=st.sampled_from(Verdict),
    time=texts,
    revision=st.integers(0, 99),
    pixels=texts,
    by_table=st.booleans(),
    note=texts,
)
observations = st.builds(
    Discrepancy,
    time=texts,
    revision=st.integers(0, 99),
    lamp=st.none() | lamp_numbers,
    predicted=texts,
    seen=texts,
    place=st.none() | identifiers,
)
simple = st.none() | st.booleans() | st.integers(-9_999, 9_999) | texts
values = simple | st.lists(simple, max_size=2) | st.dictionaries(texts, simple, max_size=1)
records = st.none() | st.dictionaries(st.sampled_from(["id", "label", "note"]), values, max_size=2)
changes = st.builds(
    Change,
    what=st.sampled_from(What),
    chain=st.none() | identifiers,
    key=texts,
    at=st.none() | st.integers(0, 99),
    order=st.sampled_from(["", "0-41 +3 42-99", "57-50", "+1", "3"]),
    length=st.none() | st.integers(0, 99),
    before=records,
    after=records,
)
revisions = st.builds(
    Revision,
    number=st.integers(1, 99),
    time=texts,
    reason=texts,
    changes=st.lists(texts, max_size=3).map(tuple),
    rewired=st.lists(identifiers, max_size=2).map(tuple),
    undoes=st.none() | st.integers(1, 99),
    diff=st.lists(changes, max_size=2).map(tuple),
)
fades = st.builds(Fade, rise_ms=st.integers(0, 1_020), fall_ms=st.integers(0, 1_020))
readings = st.builds(
    Reading,
    round=st.integers(1, 9_999),
    place=identifiers,
    to=st.none() | identifiers,
    rating=st.none() | st.sampled_from(Rating),
    value=st.none() | st.floats(0, 1_000_000),
    measure=st.sampled_from(Measure),
    level=st.integers(0, 255),
    to_level=st.none() | st.integers(0, 255),
    time=texts,
)
machines = st.builds(
    Machine,
    name=labels,
    width_mm=st.floats(0.001, 5_000),
    length_mm=st.floats(0.001, 5_000),
    note=texts,
)


sizes = st.none() | st.floats(0, 50_000)
gauges = st.none() | st.sampled_from(["22 AWG", "4 AWG", "0.34 mm²", "1.5 mm²"])
joined = st.sampled_from(JoinedTo)
powers = st.builds(
    Power,
    ceiling_level=st.integers(0, 255),
    typical_percent=st.integers(0, 100),
    copper_c=st.floats(-40, 150),
    ambient_c=st.floats(-40, 90),
    wires_in_bundle=st.integers(1, 100),
    drive_volt=st.floats(0.001, 60),
    frames_per_s=st.floats(0.001, 10_000),
    note=texts,
)
supplies = st.builds(
    Supply,
    id=identifiers,
    name=labels,
    volt=st.floats(0.001, 60),
    rating_a=st.none() | st.floats(0.001, 1_000),
    board_ma=st.integers(0, 100_000),
    usb=st.booleans(),
    note=texts,
)
feeds = st.builds(
    Feed,
    id=identifiers,
    name=labels,
    chain=identifiers,
    pixel=identifiers,
    supply=identifiers,
    wire=gauges,
    length_mm=sizes,
    fuse_a=st.none() | st.floats(0.001, 1_000),
    connector=st.sampled_from(Connector),
    note=texts,
)
batches = st.builds(
    Batch,
    id=identifiers,
    name=labels,
    five_volt=texts,
    ground=texts,
    data_in=texts,
    data_out=texts,
    chip=st.none() | st.sampled_from(["ws2812b", "sk6812-rgbw"]),
    white=st.sampled_from(["", "FFBF12"]),
    bench_pixels=st.none() | st.integers(1, 1_000),
    bench_order=st.sampled_from(["", "GRB", "RGBW"]),
    bench_dark_ma=st.none() | st.floats(0, 1_000_000),
    bench_red_ma=st.none() | st.floats(0, 1_000_000),
    bench_minutes=st.none() | st.integers(0, 100_000),
    bench_judged=st.none() | st.sampled_from(Judged),
    bench_flaw=texts,
    bench_on=st.none() | st.dates(min_value=date(1900, 1, 1)).map(date.isoformat),
    note=texts,
)


def _sizes_of_shapes(name: str) -> st.SearchStrategy[Any]:
    if name == "count":
        return st.integers(1, 24)
    return st.floats(-90, 90) if name == "rest_deg" else st.floats(0.5, 5_000)


_points = st.lists(st.tuples(st.floats(-5_000, 5_000), st.floats(-5_000, 5_000)), min_size=2, max_size=4).map(tuple)
shapes = st.one_of(
    st.builds(Shape, kind=st.just(ShapeKind.WALL), points=_points, curved=st.booleans(), name=texts),
    st.builds(Shape, kind=st.just(ShapeKind.RAMP), points=_points, width_mm=st.none() | st.floats(0.5, 5_000)),
    st.sampled_from([kind for kind in ShapeKind if kind not in DRAWN_BY_POINTS]).flatmap(
        lambda kind: st.builds(
            Shape,
            kind=st.just(kind),
            x_mm=st.floats(-5_000, 5_000),
            y_mm=st.floats(-5_000, 5_000),
            turn_deg=st.floats(-360, 360),
            mirror=st.booleans(),
            **{name: _sizes_of_shapes(name) for name in USUAL_SIZES[kind]},
        )
    ),
)
_coordinates = st.floats(-5_000, 5_000)
_extents = st.floats(0.001, 5_000)
_clearances = {"clearance_mm": st.floats(0, 500), "name": texts}
keep_outs = st.builds(
    KeepOut, kind=st.just(KeepOutShape.RECTANGLE), x_mm=_coordinates, y_mm=_coordinates, width_mm=_extents,
    height_mm=_extents, **_clearances,
) | st.builds(
    KeepOut, kind=st.just(KeepOutShape.CIRCLE), x_mm=_coordinates, y_mm=_coordinates, radius_mm=_extents, **_clearances
)  # fmt: skip
_pairs = st.lists(st.tuples(identifiers, identifiers), max_size=2).map(tuple)
plan_rules = st.builds(
    PlanRules,
    seating_mm=st.floats(0, 1_000),
    loop_mm=st.floats(0, 1_000),
    rounding_mm=st.floats(1, 1_000),
    area_change_mm=st.floats(0, 5_000),
    largest_chain=st.none() | st.integers(1, 65_535),
    spare_percent=st.integers(0, 100),
    hinge=st.sampled_from(HingeSide),
    entries=st.lists(st.builds(WireEntry, chain=identifiers, x_mm=_coordinates, y_mm=_coordinates), max_size=2).map(
        tuple
    ),
    pinned=_pairs,
    forbidden=_pairs,
    splice=st.none()
    | st.builds(
        ChosenSplice,
        chain=identifiers,
        pixels=st.integers(1, 500),
        cuts=st.lists(
            st.builds(
                ChosenCut,
                after=st.none() | st.integers(0, 499),
                places=st.lists(identifiers, min_size=1, max_size=3).map(tuple),
            ),
            min_size=1,
            max_size=2,
        ).map(tuple),
        wire_mm=st.floats(-10_000, 10_000),
    ),
    repair=st.none()
    | st.builds(
        ChosenRepair,
        chain=identifiers,
        pixels=st.integers(1, 500),
        number=st.integers(0, 499),
        way=st.sampled_from(RepairWay),
    ),
)
joints = st.builds(
    Joint,
    after=st.none() | identifiers,
    before=identifiers,
    leaving_5v=texts,
    leaving_ground=texts,
    leaving_data=texts,
    arriving_5v=texts,
    arriving_ground=texts,
    arriving_data=texts,
    five_volt_to=joined,
    ground_to=joined,
    data_to=joined,
    five_volt_open=st.booleans(),
    length_mm=sizes,
    extra_mohm=st.floats(0, 1_000_000),
    fixing=st.sampled_from(Fixing),
    made_on=st.sampled_from(["", "2025-03-16", "1999-12-31"]),
    checked=st.booleans(),
    note=texts,
)


work_lines = st.builds(
    WorkLine,
    id=identifiers,
    words=labels,
    moment=st.sampled_from(WorkMoment),
    area=texts,
    about=texts,
    state=texts,
    done=texts,
)
photos = st.builds(
    Photo,
    id=identifiers,
    file=st.sampled_from(["otter gate.jpg", "IMG_0012.JPG", "фото.png", "a;b=c&d.webp"]),
    place=st.none() | identifiers,
    chain=st.none() | identifiers,
    pixel=st.none() | identifiers,
    caption=texts,
)

meter_readings = st.builds(
    MeterReading,
    chain=identifiers,
    what=st.sampled_from(Metered),
    value=st.none() | st.floats(-1_000, 1_000_000, allow_nan=False),
    judged=st.sampled_from(Judged),
    time=texts,
    pixels=st.integers(0, 1_000),
    note=texts,
)


def _some(records: st.SearchStrategy[Any]) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(records, max_size=2, unique_by=lambda record: record.id).map(tuple)


@st.composite
def chains(draw: st.DrawFn, place_ids: list[str]) -> Chain:
    """A chain whose pixels light some of those places."""
    ids = draw(st.lists(identifiers, unique=True, max_size=4))
    lit = st.none() | st.sampled_from(place_ids) if place_ids else st.none()
    pixels = tuple(
        Pixel(
            id=name,
            state=draw(st.sampled_from(PixelState)),
            place=draw(lit),
            note=draw(texts),
            verified=draw(st.integers(0, 5)),
            batch=draw(st.none() | identifiers),
        )
        for name in ids
    )
    return Chain(
        id=draw(identifiers),
        name=draw(labels),
        output=draw(st.integers(0, 15)),
        count=draw(st.none() | st.integers(1, 65_535)),
        order=draw(st.sampled_from(BYTE_ORDERS)),
        chip=draw(st.sampled_from(["ws2812b", "sk6812"])),
        latch_us=draw(st.integers(280, 1_000)),
        ceiling_ma=draw(st.integers(1, 100_000)),
        note=draw(texts),
        wire=draw(gauges),
        ground_wire=draw(gauges),
        connector=draw(st.sampled_from(Connector)),
        spacing_mm=draw(sizes),
        pixels=pixels,
        joints=tuple(draw(st.lists(joints, max_size=2))),
    )


signs = st.text(alphabet="rybw.", max_size=5)
recheck_answers = st.builds(
    RecheckAnswer,
    said=st.sampled_from(Said),
    number=st.none() | st.integers(0, 65_535),
    colours=signs,
    places=st.lists(st.integers(0, 99), max_size=6).map(as_order),
    expected=signs,
    named=st.lists(st.integers(0, 99), max_size=6).map(as_order),
    place=st.none() | st.integers(0, 65_535),
    new=st.none() | st.integers(0, 65_535),
    colour=st.sampled_from(["", *"rybw."]),
    more=st.lists(
        st.builds(PlaceShows, place=st.integers(0, 65_535), colour=st.sampled_from(["", "r", "yb", "."])), max_size=2
    ).map(tuple),
    label=texts,
    known=st.none() | identifiers,
    naming=st.booleans(),
    forced=st.lists(st.integers(0, 99), max_size=6).map(as_order),
)
rechecks = st.builds(
    OpenRecheck,
    chain=identifiers,
    begun=texts,
    rests_on=st.text(alphabet="0123456789abcdef", min_size=16, max_size=16),
    declared=st.lists(texts, max_size=2).map(tuple),
    most_numbers=st.none() | st.integers(1, 65_535),
    looks=st.booleans(),
    answers=st.lists(recheck_answers, max_size=3).map(tuple),
)


@st.composite
def maps(draw: st.DrawFn) -> PlayfieldMap:
    """Any sound map."""
    made = _unique_ids(draw(st.lists(places, max_size=3)))
    lines = draw(st.lists(chains([place.id for place in made]), max_size=2, unique_by=lambda chain: chain.id))
    mark = draw(st.sampled_from([None, *[chain.id for chain in lines]]))
    closed = draw(st.lists(revisions, max_size=2, unique_by=lambda revision: revision.number))
    return PlayfieldMap(
        machine=draw(machines),
        chains=tuple(lines),
        places=made,
        lamps=tuple(draw(st.lists(lamps, max_size=2))),
        power=draw(st.none() | powers),
        supplies=draw(_some(supplies)),
        feeds=draw(_some(feeds)),
        batches=draw(_some(batches)),
        groups=tuple(draw(st.lists(groups, max_size=2))),
        shapes=tuple(draw(st.lists(shapes, max_size=6))),
        keep_outs=tuple(draw(st.lists(keep_outs, max_size=2))),
        plan_rules=draw(st.none() | plan_rules),
        proofs=tuple(draw(st.lists(proofs, max_size=2))),
        observations=tuple(draw(st.lists(observations, max_size=2))),
        worklist=draw(_some(work_lines)),
        photos=draw(_some(photos)),
        fade=draw(st.none() | fades),
        readings=tuple(draw(st.lists(readings, max_size=2))),
        meter=tuple(draw(st.lists(meter_readings, max_size=2))),
        revisions=tuple(closed),
        pending=tuple(draw(st.lists(changes, max_size=2))),
        rechecks=tuple(draw(st.lists(rechecks, max_size=2, unique_by=lambda kept: kept.chain))),
        bookmark=None if mark is None else Bookmark(chain=mark, number=draw(st.integers(0, 65_535))),
    )
