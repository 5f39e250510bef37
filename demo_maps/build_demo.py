"""Writes the demonstration files of the invented machine Kelp Forest: `python demo_maps/build_demo.py`.

The tables below are the source; the files beside this one are made from them and nothing else.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from math import ceil, hypot
from pathlib import Path

from probe.document import operations as op
from probe.document.checks import check_map
from probe.document.file.layout import render_map
from probe.document.model import Chain, Kind, Lamp, Pixel, PixelState, PlayfieldMap, Position
from probe.document.model.harness import Batch, Fixing, JoinedTo, Power
from probe.document.model.planning import KeepOut, KeepOutShape, PlanRules, WireEntry
from probe.document.model.shape import Shape, ShapeKind
from probe.document.wiring import add_feed, add_supply, joint_at, put, put_joint
from probe.export import write_lamp_list

# Per chain, in the order of the wire. A line without a bar opens an area. Otherwise, between bars:
#   name | kind | x mm | y mm | lamp and colour of its insert, if it is one of the game's | what is special
# "x2": two pixels. A name in parentheses is no place, but the state of a pixel.
PLAYFIELD = """
(repeater) | | | | | sits beside the board: the first run is long, and it only freshens the signal
Shooter lane
Shooter lane glow 1 | general | 488 | 120
Shooter lane glow 2 | general | 490 | 330
Launch arrow        | insert  | 478 | 455 | 1 white
Tide pool
Right outlane glow  | general | 442 | 205
Right outlane pearl | insert  | 430 | 275 | 2 red
Right return lane   | insert  | 392 | 268 | 3 green
Right flipper glow  | general | 345 | 165
Right sling glow 1  | general | 372 | 235
Right sling glow 2  | general | 384 | 330
Dive again          | insert  | 247 |  85 | 4 amber
Left flipper glow   | general | 150 | 165
Left sling glow 1   | general | 122 | 235
Left sling glow 2   | general | 110 | 330
Left return lane    | insert  | 102 | 268 | 5 green
Left outlane pearl  | insert  |  64 | 275 | 6 red
Left outlane glow   | general |  52 | 205
(spare) | | | | | in reserve for the tide pool, coiled up and tied
Otter den
Otter bonus 1       | insert  | 190 | 215 | 7 yellow
Otter bonus 2       | insert  | 205 | 248 | 8 yellow
Otter bonus 3       | insert  | 225 | 276 | 9 yellow
Otter bonus 4       | insert  | 247 | 290 | 10 yellow
Otter bonus 5       | insert  | 269 | 276 | 11 yellow
Otter bonus 6       | insert  | 289 | 248 | 12 yellow
Otter bonus 7       | insert  | 304 | 215 | 13 yellow
Otter bonus 10      | insert  | 247 | 330 | 14 orange
Otter bonus 20      | insert  | 247 | 368 | 15 orange
Otter bonus 2X      | insert  | 205 | 405 | 16 blue
Otter bonus 3X      | insert  | 247 | 418 | 17 blue
Otter bonus 5X      | insert  | 289 | 405 | 18 blue
Kelp bed
Kelp target 1       | insert  |  60 | 430 | 19 green
Kelp target 2       | insert  |  56 | 465 | 20 green
Kelp target 3       | insert  |  52 | 500 | 21 green
Kelp target 4       | insert  |  48 | 535 | 22 green
Kelp target 5       | insert  |  44 | 570 | 23 green
Kelp bed glow 1     | general |  26 | 450
Kelp bed glow 2     | general |  24 | 545
Kelp bed harvest    | insert  | 104 | 505 | 24 white
Wreck
Wreck arrow         | insert  | 118 | 610 | 25 red
Wreck spinner       | insert  |  96 | 655 | 26 amber
Wreck lock 1        | insert  |  72 | 715 | 27 blue
Wreck lock 2        | insert  |  70 | 752 | 28 blue
Wreck lock 3        | insert  |  68 | 789 | 29 blue
(hidden) | | | | | lights, but sits behind the wreck's bulkhead; nothing of it is seen from above
Wreck flasher       | flasher |  50 | 850 | 30 clear | x2
Wreck glow 1        | general |  28 | 700
Wreck glow 2        | general |  30 | 905
Wreck glow 3        | general |  85 | 985
Reef
Reef lane glow 1    | general | 140 | 1030
Reef lane 1         | insert  | 170 | 985 | 31 white
Reef lane 2         | insert  | 222 | 990 | 32 white
Reef lane 3         | insert  | 274 | 990 | 33 white
Reef lane 4         | insert  | 326 | 985 | 34 white
Reef lane glow 2    | general | 248 | 1040
Reef lane glow 3    | general | 356 | 1030
Bumper cove
Anemone bumper      | bumper  | 190 | 875 | 35 red | x2
Starfish bumper     | bumper  | 312 | 870 | 36 yellow | x2
Barnacle bumper     | bumper  | 250 | 790 | 37 green | x2
Cove glow 1         | general | 150 | 820
Cove glow 2         | general | 345 | 800
Cove spinner value  | insert  | 250 | 715 | 38 amber
(spare) | | | | | in reserve for the cove
Urchin ridge
Urchin glow 1       | general | 470 | 905
Urchin target 1     | insert  | 428 | 700 | 39 violet
Urchin target 2     | insert  | 432 | 665 | 40 violet
Urchin target 3     | insert  | 436 | 630 | 41 violet
Urchin jackpot      | insert  | 392 | 668 | 42 red
Urchin glow 2       | general | 472 | 755
Urchin glow 3       | general | 468 | 610
Urchin arrow        | insert  | 398 | 575 | 43 red
Trench
Trench arrow        | insert  | 300 | 610 | 44 blue
Trench eel 1        | insert  | 290 | 575 | 45 green
Trench eel 2        | insert  | 284 | 545 | 46 green
Trench eel 3        | insert  | 278 | 515 | 47 green | dead: water got in at its solder joint; to be replaced
Trench eel 4        | insert  | 272 | 485 | 48 green
Whirlpool           | insert  | 350 | 490 | 49 white
Extra dive          | insert  | 196 | 480 | 50 orange
Otter jackpot       | insert  | 200 | 545 | 51 red
Trench glow 1       | general | 440 | 520
Trench glow 2       | general | 446 | 420
"""

BACKBOX = """
(repeater) | | | | | at the plug, after the long run up the neck
Head glow
Head glow 1         | backbox |  60 | 1180
Head glow 2         | backbox | 160 | 1180
Head glow 3         | backbox | 255 | 1180
Head glow 4         | backbox | 350 | 1180
Head glow 5         | backbox | 450 | 1180
Score panel
Diver 1             | backbox | 450 | 1300 | 52 clear
Diver 2             | backbox | 450 | 1350 | 53 clear
Diver 3             | backbox | 450 | 1400 | 54 clear
Diver 4             | backbox | 450 | 1450 | 55 clear
Ball in play        | backbox | 330 | 1270 | 56 clear
Match               | backbox | 255 | 1270 | 57 clear
Tilt                | backbox | 180 | 1270 | 58 clear
Game over           | backbox | 110 | 1270 | 59 clear
Title
High tide score     | backbox |  90 | 1350 | 60 clear
Title fish          | backbox |  90 | 1470 | 61 clear | x2
Title diver         | backbox | 190 | 1500 | 62 clear | x2
Title otter         | backbox | 300 | 1500 | 63 clear | x2
Title glow 1        | backbox | 150 | 1600
Title glow 2        | backbox | 350 | 1600
(spare) | | | | | the last one
"""

FOLDER = Path(__file__).parent
HALF_AT = 43
"""The pixel at which the half mapped file stops."""


def _lines(table: str) -> Iterator[tuple[str, list[str]]]:
    """(area, fields of a line), with as many fields as there can be."""
    area = ""
    for line in table.strip().splitlines():
        fields = [field.strip() for field in line.split("|")]
        if len(fields) == 1:
            area = fields[0]
        else:
            yield area, fields + [""] * (6 - len(fields))


def always_on(area: str) -> str:
    """The group of an area's general illumination."""
    return f"always on, {area}"


def lamps() -> tuple[Lamp, ...]:
    """The lamp list, area by area as one writes it down at the machine: the game's lamps, then what is always on.

    The game's lamps are strobed, eight rows by eight columns, numbered down the rows of each column.
    """
    found: dict[str, tuple[list[Lamp], list[Lamp]]] = {}
    for table in (PLAYFIELD, BACKBOX):
        for area, (name, kind, _, _, lamp, _) in _lines(table):
            if name.startswith("("):
                continue
            switched, glows = found.setdefault(area, ([], []))
            fields = {"name": name, "area": area, "kind": Kind(kind)}
            if lamp:
                number, colour = lamp.split()
                column, row = divmod(int(number) - 1, 8)
                strobes = {"row": row + 1, "column": column + 1, "insert_colour": colour}
                switched.append(Lamp.model_validate(fields | strobes | {"number": int(number)}))
            else:
                glows.append(Lamp.model_validate(fields | {"group": always_on(area)}))
    return tuple(
        lamp
        for switched, glows in found.values()
        for lamp in (*sorted(switched, key=lambda lamp: lamp.number or 0), *sorted(glows, key=lambda lamp: lamp.name))
    )


def _walk(map_: PlayfieldMap, chain: str, table: str) -> PlayfieldMap:
    number = 0
    for area, (name, kind, x, y, lamp, special) in _lines(table):
        if name.startswith("("):
            map_ = op.set_state(map_, chain, number, PixelState(name.strip("()")))
            map_ = op.set_note(map_, chain, number, special)
            number += 1
            continue
        joined = (int(lamp.split()[0]),) if lamp else ()
        spot = Position(x_mm=float(x), y_mm=float(y))
        map_, place = op.add_place(map_, name, area=area, kind=Kind(kind), position=spot, lamps=joined)
        if not lamp:
            map_ = op.update_place(map_, place.model_copy(update={"group": always_on(area)}))
        for _ in range(2 if special == "x2" else 1):
            map_ = op.assign_place(map_, chain, number, place.id)
            if special.startswith("dead: "):
                map_ = op.set_state(map_, chain, number, PixelState.DEAD)
                map_ = op.set_note(map_, chain, number, special.removeprefix("dead: "))
            number += 1
    return op.set_count(map_, chain, number)


def _wall(*points: tuple[float, float], name: str = "", curved: bool = False) -> Shape:
    return Shape(kind=ShapeKind.WALL, points=points, name=name, curved=curved)


_RAMP = ((318, 640), (338, 700), (378, 770), (408, 840), (420, 920), (408, 975))
SHAPES = (
    Shape(kind=ShapeKind.OUTLINE),
    Shape(kind=ShapeKind.APRON),
    Shape(kind=ShapeKind.SHOOTER_LANE, x_mm=508, name="shooter lane"),
    Shape(kind=ShapeKind.FLIPPER, x_mm=150, y_mm=160, name="left flipper"),
    Shape(kind=ShapeKind.FLIPPER, x_mm=345, y_mm=160, mirror=True, name="right flipper"),
    Shape(kind=ShapeKind.SLINGSHOT, x_mm=112, y_mm=240, name="left sling"),
    Shape(kind=ShapeKind.SLINGSHOT, x_mm=383, y_mm=240, mirror=True, name="right sling"),
    Shape(kind=ShapeKind.LANE_GUIDE, x_mm=83, y_mm=215),
    Shape(kind=ShapeKind.LANE_GUIDE, x_mm=412, y_mm=215, mirror=True),
    Shape(kind=ShapeKind.BUMPER, x_mm=190, y_mm=875, name="anemone"),
    Shape(kind=ShapeKind.BUMPER, x_mm=312, y_mm=870, name="starfish"),
    Shape(kind=ShapeKind.BUMPER, x_mm=250, y_mm=790, name="barnacle"),
    Shape(kind=ShapeKind.ROLLOVER_LANES, x_mm=248, y_mm=955, name="reef lanes"),
    Shape(kind=ShapeKind.DROP_TARGETS, x_mm=42, y_mm=430, turn_deg=6.5, name="kelp targets"),
    Shape(kind=ShapeKind.STANDING_TARGETS, x_mm=449, y_mm=630, turn_deg=6.5, name="urchin targets"),
    _wall((42, 205), (42, 372), (18, 405)),
    _wall((453, 205), (453, 330), (458, 345)),
    _wall((17, 602), (42, 640), (40, 790), name="wreck lane, left"),
    _wall((122, 640), (112, 720), (98, 800), (100, 850), name="wreck lane, right", curved=True),
    Shape(kind=ShapeKind.SPINNER, x_mm=82, y_mm=682, name="wreck spinner"),
    Shape(kind=ShapeKind.SAUCER, x_mm=66, y_mm=826, name="wreck hole"),
    Shape(kind=ShapeKind.SAUCER, x_mm=350, y_mm=490, name="whirlpool"),
    Shape(kind=ShapeKind.RAMP, points=_RAMP, name="trench ramp"),
    Shape(kind=ShapeKind.POST, x_mm=150, y_mm=760),
    Shape(kind=ShapeKind.POST, x_mm=172, y_mm=430),
    Shape(kind=ShapeKind.POST, x_mm=322, y_mm=430),
    Shape(kind=ShapeKind.POST, x_mm=428, y_mm=590),
    _wall((455, 730), (470, 770), (470, 830), name="urchin ridge"),
    _wall((400, 625), (372, 690), (392, 742), curved=True),
    Shape(kind=ShapeKind.PANEL, x_mm=15, y_mm=1_150, name="backbox"),
)
"""What is drawn of the playfield and of the panel in its backbox."""


def _box(name: str, left: float, near: float, right: float, far: float) -> KeepOut:
    corner = {"x_mm": left, "y_mm": near, "width_mm": right - left, "height_mm": far - near}
    return KeepOut(kind=KeepOutShape.RECTANGLE, name=name, **corner)


def _coil(name: str, x_mm: float, y_mm: float) -> KeepOut:
    return KeepOut(kind=KeepOutShape.CIRCLE, name=name, x_mm=x_mm, y_mm=y_mm, radius_mm=28)


KEEP_OUTS = (
    _box("left flipper mechanism", 150, 108, 225, 150),
    _box("right flipper mechanism", 268, 108, 330, 150),
    _box("ball trough", 300, 20, 470, 70),
    _coil("anemone's coil", 190, 920),
    _coil("starfish's coil", 312, 915),
    _coil("barnacle's coil", 250, 835),
    _box("kicker", 330, 400, 420, 470),
    _box("drop target bank", 90, 370, 180, 395),
    _box("eject mechanism", 130, 700, 210, 770),
    _box("ball guide to the neck", 330, 700, 400, 770),
)
"""What wire keeps clear of below the playfield."""

ENTRIES = (
    WireEntry(chain="playfield", x_mm=514.35, y_mm=0),
    WireEntry(chain="backbox", x_mm=255, y_mm=1_150),
)
"""Where the wires of the chains come in: at the near right corner, and up the neck."""


def complete() -> PlayfieldMap:
    """The machine mapped to the end and proved once."""
    map_ = op.new_map("Kelp Forest")
    machine = map_.machine.model_copy(update={"note": "Invented for demonstrations: no such machine was built."})
    map_ = map_.model_copy(update={"machine": machine, "shapes": SHAPES, "keep_outs": KEEP_OUTS})
    map_ = map_.model_copy(update={"plan_rules": PlanRules(entries=ENTRIES)})
    map_ = op.add_chain(map_, Chain(id="playfield", name="Playfield", output=0, note="enters at the near right corner"))
    map_ = op.add_chain(
        map_, Chain(id="backbox", name="Backbox", output=1, note="goes up through the neck of the cabinet")
    )
    map_ = op.set_lamps(map_, lamps())
    map_ = _walk(map_, "playfield", PLAYFIELD)
    map_ = _walk(map_, "backbox", BACKBOX)
    map_ = op.add_revision(
        map_, time="2025-03-02T16:40:00Z", reason="First map", changes=["Both chains walked from end to end."]
    )
    spliced = next(p for p in map_.places if p.label == "Whirlpool")
    chain, number = map_.pixels_at[spliced.id][0]
    change = f"Spliced in pixel {number} of {chain.title()}: {spliced.label}. All later numbers went up by one."
    map_ = op.add_revision(map_, time="2025-03-16T10:05:00Z", reason="One more insert lit", changes=[change])
    for where, at, pixel in map_.walk_pixels():
        seen = 1 if where == "backbox" or at < number else 2
        map_ = op.set_pixel(map_, where, at, pixel.model_copy(update={"verified": seen}))
    for place in map_.places:
        if place.kind is Kind.GENERAL:
            map_ = op.update_place(map_, place.model_copy(update={"level": GLOW_LEVEL}))
    return wired(map_)


SPLICED_ON = "2025-03-16"
GLOW_LEVEL = 128
"""General illumination is softer than the inserts."""

REELS = (
    Batch(id="first-reel", name="First reel", five_volt="red", ground="black", data_in="green", data_out="blue"),
    Batch(
        id="second-reel",
        name="Second reel",
        five_volt="white",
        ground="blue",
        data_in="yellow",
        data_out="yellow",
        note="bought later, and its ground is the colour that the first reel's data out has",
    ),
)


def wired(map_: PlayfieldMap) -> PlayfieldMap:
    """The map with supply, feeds, gauges, two reels with unlike colours, and the joints that somebody has noted."""
    map_ = map_.model_copy(update={"power": Power(drive_volt=5.0)})  # the board's chip runs from 5 V
    map_, supply = add_supply(
        map_, "Pixel supply", rating_a=6.0, board_ma=60, note="beside the transformer, switched with it"
    )
    for batch in REELS:
        map_ = put(map_, batch)
    gauges = {"playfield": ("20 AWG", 90.0), "backbox": ("20 AWG", 120.0)}
    for name, (wire, spacing_mm) in gauges.items():
        chain = map_.chain(name).model_copy(update={"wire": wire, "spacing_mm": spacing_mm})
        map_ = op.replace_chain(map_, chain)
    cove = map_.pixels_at["anemone-bumper"][0][1]
    for name, number, words, length_mm, fuse_a in (
        ("playfield", 0, "Board end", 600.0, 3.0),
        ("playfield", cove, "Bumper cove", 1_100.0, 5.0),
        ("backbox", 0, "Neck", 1_400.0, 2.0),
    ):
        known = {"wire": "18 AWG", "length_mm": length_mm, "fuse_a": fuse_a}
        map_, _ = add_feed(map_, name, number, supply=supply.id, name=words, **known)
    whirlpool = map_.pixels_at["whirlpool"][0][1]
    for chain_id, number, pixel in map_.walk_pixels():
        later = chain_id == "playfield" and number == whirlpool
        reel = REELS[1] if later else REELS[0]
        map_ = op.set_pixel(map_, chain_id, number, pixel.model_copy(update={"batch": reel.id}))
    lead = {"leaving_5v": "red", "leaving_ground": "black", "leaving_data": "white"}
    for chain_id, length_mm in (("playfield", 700.0), ("backbox", 1_600.0)):
        joint = joint_at(map_.chain(chain_id), 0).model_copy(
            update={**lead, "length_mm": length_mm, "fixing": Fixing.CLIP}
        )
        map_ = put_joint(map_, chain_id, joint)
    for chain in map_.chains:
        map_ = _with_long_stretches(map_, chain)
    found = {"five_volt_to": JoinedTo.FIVE_VOLT, "ground_to": JoinedTo.GROUND, "data_to": JoinedTo.DATA_IN}
    for number, length_mm in ((whirlpool, 120.0), (whirlpool + 1, 190.0)):
        told = {**found, "length_mm": length_mm, "fixing": Fixing.STAPLE, "made_on": SPLICED_ON, "checked": True}
        map_ = put_joint(map_, "playfield", joint_at(map_.chain("playfield"), number).model_copy(update=told))
    told = {"length_mm": 260.0, "fixing": Fixing.CLIP, "note": "long way round the flipper mechanism"}
    return put_joint(map_, "playfield", joint_at(map_.chain("playfield"), 11).model_copy(update=told))


SEATING_MM = 12.0
"""Wire that goes up into the seat of a pixel and comes down again, at either end of a stretch."""
DETOURS_MM = {("playfield", 10): 10.0}
"""What the way round a mechanism adds to a stretch, where it is more than the steps of the lengths leave."""


def _with_long_stretches(map_: PlayfieldMap, chain: Chain) -> PlayfieldMap:
    """Note the wire of every stretch that the chain's spacing does not reach over, in steps of 10 mm."""
    assert chain.spacing_mm is not None
    last: int | None = None
    for number, pixel in enumerate(chain.pixels):
        place = map_.place_of(pixel)
        if place is None or place.position is None:
            continue
        if last is not None:
            before = map_.place_by_id[chain.pixels[last].place or ""].position
            assert before is not None
            apart = hypot(place.position.x_mm - before.x_mm, place.position.y_mm - before.y_mm)
            stretches = number - last
            detour = DETOURS_MM.get((chain.id, number), 0.0)
            needed = (apart + detour) / stretches + 2 * SEATING_MM
            if chain.spacing_mm < needed:
                for at in range(last + 1, number + 1):
                    joint = joint_at(map_.chain(chain.id), at)
                    length = {"length_mm": ceil(needed / 10) * 10.0}
                    map_ = put_joint(map_, chain.id, joint.model_copy(update=length))
        last = number
    return map_


def half() -> PlayfieldMap:
    """The same machine as it was in the middle of the first walk: the playfield up to pixel 42, the backbox not begun."""
    map_ = complete()
    chains = []
    for chain in map_.chains:
        keep = HALF_AT if chain.id == "playfield" else 0
        seen = tuple(pixel.model_copy(update={"verified": 0}) for pixel in chain.pixels[:keep])
        rest = tuple(Pixel(id=pixel.id) for pixel in chain.pixels[keep:])
        known = {None, *(pixel.id for pixel in chain.pixels[:keep])}
        joints = tuple(
            joint
            for joint in chain.joints
            if joint.made_on != SPLICED_ON and (joint.after is None or {joint.after, joint.before} <= known)
        )
        chains.append(chain.model_copy(update={"pixels": seen + rest, "joints": joints}))
    used = {pixel.place for chain in chains for pixel in chain.pixels}
    places = tuple(place for place in map_.places if place.id in used)
    map_ = map_.model_copy(update={"chains": tuple(chains), "places": places, "revisions": (), "batches": REELS[:1]})
    return op.set_bookmark(map_, "playfield", HALF_AT)


def files() -> dict[str, bytes]:
    """Content by file name."""
    return {
        "kelp_forest.json": render_map(complete()),
        "kelp_forest_half.json": render_map(half()),
        "kelp_forest_lamps.csv": write_lamp_list(lamps()).encode(),
    }


if __name__ == "__main__":
    for name, content in files().items():
        (FOLDER / name).write_bytes(content)
    for made in (complete(), half()):
        sizes = ", ".join(f"{chain.name} {len(chain.pixels)}" for chain in made.chains)
        print(f"{sizes} pixels, {len(made.places)} places, {len(made.lamps)} lamps", file=sys.stderr)
        for finding in check_map(made):
            if finding.code != "lamp-without-place":
                print(f"  {finding.severity} {finding.code}: {finding.what}", file=sys.stderr)
