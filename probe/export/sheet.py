"""The sheet for the cabinet: one HTML file that needs nothing else, for paper.

`sheet_html(map_)`: first the page for the person at the cabinet (`first_page`); then the map by number, by place and by lamp;
levels; joints by function; what to cut, to buy and to drill; revisions. Black on white, A4 and Letter. It refers to nothing on
any network, runs no script, and the same map gives the same bytes (dates in it are the map's own).
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path

from device_protocol.lightness import DUTY
from probe.cautions import Moment, cautions
from probe.document.lamp_table import lamp_table, light_of
from probe.document.local_time import local_date
from probe.document.model import Chain, Pixel, PixelState, Place, PlayfieldMap, shown_number
from probe.document.operations import folded
from probe.document.photos import titles
from probe.document.plural import many
from probe.document.proving import Standing, standings
from probe.document.wiring import is_blank
from probe.evenings.log import evenings
from probe.evenings.worklist import all_left
from probe.export.first_page import first_page
from probe.export.sheet_text import bullets, clean, escape, own, section, table
from probe.export.tables import seats
from probe.export.voltage_svg import drawings
from probe.game.circuits import CAUTIONS, CIRCUITS, circuit_lines, circuit_svg, drives_of
from probe.harness.from_map import compute
from probe.harness.joints import JointSeverity, SheetRow, sheet_rows
from probe.harness.parts import Cut, cut_list, parts_list, wire_needed
from probe.harness.words import batch_lines, finding_lines, power_sections
from probe.lighting.evenness import evenness_words, last_round, measured, readings_of

CSS = Path(__file__).with_name("sheet.css")
REVISIONS_SHOWN = 12
LONGEST_LINE = 4_000
_POWER_SECTIONS = ("Feeds and fuses", "Supplies", "Lowest voltage", "Assumed, for want of a note")


def sheet_html(map_: PlayfieldMap, *, from_below: bool = False, photos: Mapping[str, bytes] | None = None) -> str:
    """The sheet. `from_below`: the picture is mirrored, for work under the raised playfield.

    `photos`: content of the map's photos, by file name; those that are pictures become part of the page.
    """
    title = f"{clean(map_.machine.name) or 'Machine'}: sheet for the cabinet"
    cuts = cut_list(map_)
    body = [
        first_page(map_, from_below=from_below),
        _chains(map_),
        *_by_number(map_),
        _by_place(map_),
        _by_lamp(map_),
        _groups(map_),
        _evenness(map_),
        *_power(map_),
        *_joints(map_),
        *_cuts(map_, cuts),
        _circuits(map_),
        _parts(map_, cuts),
        _seats(map_),
        _left(map_),
        _log(map_),
        _photos(map_, photos or {}),
        _revisions(map_),
        "<footer>Made with playfield-probe from the map file; print it again after every change.</footer>",
    ]
    css = CSS.read_text(encoding="utf-8")
    inside = "\n".join(part for part in body if part)
    may_show = "; img-src data:" if photos else ""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'{may_show}\">\n"
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{own(title)}</title>\n<style>\n{css}</style>\n</head>\n<body>\n{inside}\n</body>\n</html>\n"
    )


def _chains(map_: PlayfieldMap) -> str:
    rows = []
    for chain in map_.chains:
        count = "open" if chain.count is None else str(chain.count)
        rows.append(
            (
                escape(chain.name),
                str(chain.output),
                count,
                own(chain.order),
                own(chain.chip),
                f"{chain.ceiling_ma} mA",
                f"{chain.latch_us} µs",
                escape(chain.note),
            )
        )
    heads = ("Chain", "Output", "Pixels", "Byte order", "Pixel kind", "Ceiling", "Latch", "Note")
    return section("Chains", table(heads, rows)) if rows else ""


def _light(map_: PlayfieldMap, place: Place) -> str:
    level, colour = light_of(map_, place)
    return f"{level} · {colour.text}"


def _state(pixel: Pixel) -> str:
    return "" if pixel.state is PixelState.PLACED else f'<span class="flag">{own(pixel.state.value)}</span> '


def _by_number(map_: PlayfieldMap) -> Iterator[str]:
    for chain in map_.chains:
        rows = []
        last_batch = None
        for number, pixel in enumerate(chain.pixels):
            place = map_.place_of(pixel)
            noted = map_.batch_of(pixel)
            batch = "" if pixel.batch == last_batch else escape(noted.name if noted else "no batch noted")
            last_batch = pixel.batch
            rows.append(
                (
                    own(shown_number(number)),
                    _state(pixel) + (escape(place.label) if place else ""),
                    escape(place.area) if place else "",
                    own(place.kind.value) if place else "",
                    ", ".join(map(str, place.lamps)) if place else "",
                    _light(map_, place) if place else "",
                    "; ".join(part for part in (f"from here: {batch}" if batch else "", escape(pixel.note)) if part),
                )
            )
        heads = ("Pixel", "Place", "Area", "Kind", "Lamp", "Level · colour", "Batch; note")
        name = f"By number: {clean(chain.name)}, output {chain.output}"
        yield section(name, table(heads, rows, name="numbers") if rows else "<p>No pixel is mapped yet.</p>")


def _pixels(map_: PlayfieldMap, place: Place) -> str:
    several = len(map_.chains) > 1
    found = []
    for chain, number in map_.pixels_at.get(place.id, ()):
        found.append((f"{escape(map_.chain(chain).name)} " if several else "") + own(shown_number(number)))
    return ", ".join(found) or "none"


def _by_place(map_: PlayfieldMap) -> str:
    rows = []
    for place in sorted(map_.places, key=lambda p: (folded(p.label), folded(p.area), p.id)):
        at = "" if place.position is None else f"{place.position.x_mm:.0f}, {place.position.y_mm:.0f}"
        rows.append(
            (
                escape(place.label),
                escape(place.area),
                own(place.kind.value),
                _pixels(map_, place),
                ", ".join(map(str, place.lamps)),
                at,
                "; ".join(part for part in (_seat(place), escape(place.note)) if part),
            )
        )
    heads = ("Place", "Area", "Kind", "Pixel", "Lamp", "x, y mm", "Note")
    return section("By place", table(heads, rows, name="text")) if rows else ""


def _seat(place: Place) -> str:
    parts = [] if place.depth_mm is None else [f"{place.depth_mm:g} mm deep"]
    return ", ".join([*parts, "diffuser"] if place.diffuser else parts)


_SIGNS = {Standing.PROVED: "✓", Standing.WRONG: "WRONG"}


def _by_lamp(map_: PlayfieldMap) -> str:
    by_lamp = {lamp.number: lamp for lamp in map_.lamps if lamp.number is not None}
    serving: dict[int, list[Place]] = {}
    for place in map_.places:
        for number in place.lamps:
            serving.setdefault(number, []).append(place)
    rows = []
    for found in standings(map_):
        if found.lamp is None:
            continue
        listed = by_lamp.get(found.lamp)
        where = f"{listed.row or '-'} / {listed.column or '-'}" if listed and (listed.row or listed.column) else ""
        driver = escape(listed.driver) if listed else ""
        proof = f"{_SIGNS.get(found.state, '')} {found.state.value}".strip()
        if found.proof is not None:
            proof += f" {local_date(found.proof.time)}"
        rows.append(
            (
                str(found.lamp),
                escape(" / ".join(found.names)),
                where or driver,
                escape(listed.insert_colour) if listed else "",
                "; ".join(f"{escape(p.label)}: {_pixels(map_, p)}" for p in serving.get(found.lamp, ())) or "no pixel",
                own(proof),
            )
        )
    heads = ("Lamp", "Name", "Row / column, driver", "Insert", "Place: pixel", "Proof")
    return section("By lamp", table(heads, rows)) if rows else ""


def _groups(map_: PlayfieldMap) -> str:
    said_by = {folded(group.name): group for group in map_.groups}
    states = {folded(found.group): found for found in standings(map_) if found.lamp is None}
    rows = []
    for row in lamp_table(map_).groups:
        group = said_by.get(folded(row.name))
        level = "" if group is None or group.level is None else str(group.level)
        state = states.get(folded(row.name))
        pixels = ", ".join(f"{pixel.output}:{pixel.number}" for pixel in row.pixels)
        rows.append(
            (
                escape(row.name),
                level,
                own(group.colour) if group else "",
                own(pixels),
                own(state.state.value) if state and state.pixels else "",
            )
        )
    fade = "Lamps switch at once." if map_.fade is None else (
        f"Lamps glow up with {map_.fade.rise_ms} ms and down with {map_.fade.fall_ms} ms, like bulbs."
    )  # fmt: skip
    words = (
        f"<p>{fade} Levels are 0 to 255 in steps even to the eye; level 128 is duty {DUTY[128]} of 255. Colours are "
        "RRGGBB at full level.</p>"
    )
    heads = ("Group", "Level", "Colour", "Output:pixel", "Proof")
    return section("Levels and groups", words, table(heads, rows, name="text") if rows else "")


def _evenness(map_: PlayfieldMap) -> str:
    rows = []
    for number in range(1, last_round(map_) + 1):
        readings = readings_of(map_, number)
        found, of = measured(readings.values())
        if found is None:
            continue
        times = sorted(reading.time for reading in readings.values())
        rows.append(
            (
                str(number),
                escape(local_date(times[-1])),
                own(evenness_words(found, of)),
            )
        )
    heads = ("Walk", "Date", "How even")
    return section("Evenness of general illumination", table(heads, rows[-8:])) if rows else ""


def _power(map_: PlayfieldMap) -> Iterator[str]:
    if not (map_.feeds or map_.supplies or map_.power is not None):
        return
    power = compute(map_)
    parts = [f"<h3>Findings</h3>{bullets(_line(line) for line in finding_lines(power, notes=False))}"]
    if not finding_lines(power, notes=False):
        parts = ["<p>Nothing to mend was found when this was made.</p>"]
    for found in power_sections(power, with_cautions=False):
        if found.title in _POWER_SECTIONS:
            parts.append(f"<h3>{own(found.title)}</h3>{outline(found.lines)}")
    drawn = (f'<p class="volts">{svg.strip()}</p>' for _, svg in drawings(power))
    yield section("Feeds, fuses and supplies", *parts, *drawn)


def outline(lines: Iterable[str]) -> str:
    """Lines as a list; those that begin with a space belong under the one before."""
    items: list[tuple[str, list[str]]] = []
    for line in lines:
        if line.startswith(" ") and items:
            items[-1][1].append(_line(line))
        else:
            items.append((_line(line), []))
    return bullets((line + bullets(under) for line, under in items), name="small")


def _line(text: str) -> str:
    """A line of our words and the map's together: a sentence, so not cut like a label."""
    return escape(text, most=LONGEST_LINE)


def _joints(map_: PlayfieldMap) -> Iterator[str]:
    if not (map_.batches or any(chain.joints for chain in map_.chains)):
        return
    opening = bullets(own(caution.text) for caution in cautions(Moment.OPENING))
    yield section("Before you open a joint", opening, name="caution")
    yield section("Colour codes of batches (they join nothing: functions do)", bullets(map(_line, batch_lines(map_))))
    for chain in map_.chains:
        shown = [row for row in sheet_rows(map_, chain) if _worth_a_line(map_, chain, row)]
        if not chain.pixels:
            continue
        parts = []
        left = len(chain.pixels) - len(shown)
        verb = "is" if left == 1 else "are"
        unlisted = (
            f" {many(left, 'joint')} of like pixels with nothing but a length noted {verb} not listed." if left else ""
        )
        plain_rule = (
            "<p>Every joint: ground to ground, plus to plus, data out of the pixel before to data in of the next."
            f"{unlisted}</p>"
        )
        items = []
        for row in shown:
            flag = f'<span class="flag">{own(row.flag)}</span> ' if row.refused or row.flag == "ask" else ""
            inside = [_line(line) for line in row.joining]
            for problem in row.problems:
                word = "REFUSED" if problem.severity is JointSeverity.REFUSE else "ask"
                inside.append(f"{word}: {_line(problem.text)}")
            note = f" {escape(row.view.note)}" if row.view.note else ""
            made = f", made {own(local_date(row.view.made_on))}" if row.view.made_on else ""
            place = map_.place_of(chain.pixels[row.number])
            label = f" ({escape(place.label)})" if place is not None else ""
            items.append(f"{flag}<b>{own(row.ends)}</b>{label}{made}.{note}{bullets(inside)}")
        parts += [plain_rule, bullets(items, name="joints small")]
        yield section(f"Joints by function: {clean(chain.name)}, output {chain.output}", *parts)


def _worth_a_line(map_: PlayfieldMap, chain: Chain, row: SheetRow) -> bool:
    """Whether a joint is anything but the usual one between two pixels of one batch (its length is in the cut list)."""
    pixel = chain.pixels[row.number]
    before = chain.pixels[row.number - 1] if row.number else None
    noted = [joint.model_copy(update={"length_mm": None}) for joint in chain.joints if joint.before == pixel.id]
    return not all(map(is_blank, noted)) or row.refused or before is None or before.batch != pixel.batch


def _circuits(map_: PlayfieldMap) -> str:
    """Circuits for the drives that the lamp list speaks of."""
    parts = []
    for drive in drives_of(map_):
        circuit = CIRCUITS[drive]
        lines = "\n".join(f"<li>{own(line)}</li>" for line in circuit_lines(circuit))
        parts.append(
            f'<h3>{own(drive.value)}</h3><p class="volts circuit">{circuit_svg(circuit, titled=False).strip()}</p>'
            f"<ul>{lines}</ul>"
        )
    warned = "\n".join(f"<li>{own(line)}</li>" for line in CAUTIONS)
    return section("Circuits at the game's lamp outputs", f"<ul>{warned}</ul>", *parts) if parts else ""


def _cuts(map_: PlayfieldMap, cuts: Sequence[Cut]) -> Iterator[str]:
    if not cuts or not (map_.feeds or any(chain.wire or chain.joints for chain in map_.chains)):
        return
    needed = (f"<b>{own(gauge)}</b>, {escape(colour)}: {metres:.2f} m" for gauge, colour, metres in wire_needed(cuts))
    rows = []
    for where, run in groupby(cuts, key=lambda cut: cut.where):
        wires = list(run)
        length = max(wire.length_mm for wire in wires)
        kinds = "; ".join(
            f"{own(function)} {escape(colour) or 'colour not noted'}"
            for function, colour in dict.fromkeys((wire.function, wire.colour) for wire in wires)
        )
        gauge = ", ".join(dict.fromkeys(wire.gauge for wire in wires))
        assumed = " (assumed)" if any(wire.assumed for wire in wires) else ""
        labels = f"{escape(wires[0].first_label)} … {escape(wires[-1].last_label)}"
        rows.append((escape(where), f"{length:g}{assumed}", own(gauge), kinds, labels))
    heads = ("Stretch", "mm", "Gauge", "Wires", "Labels, first and last wire")
    words = (
        "<p>Lengths are as noted, from end to end: add what your joints take. Label both ends before you solder; the other "
        "labels read alike, output:number and function. export --to cuts-csv has every wire on its own line.</p>"
    )
    yield section("Cut list", words, bullets(needed, name="small"), table(heads, rows, name="dense"))


def _parts(map_: PlayfieldMap, cuts: Sequence[Cut]) -> str:
    if not map_.chains:
        return ""
    rows = [
        (escape(row.part), f"{row.quantity:g} {own(row.unit)}".strip(), escape(row.why, most=LONGEST_LINE))
        for row in parts_list(map_, compute(map_), cuts=cuts)
    ]
    return section("Parts", table(("Part", "Quantity", "For"), rows, name="dense text")) if rows else ""


def _seats(map_: PlayfieldMap) -> str:
    rows = []
    for place in seats(map_):
        spot = place.position
        assert spot is not None
        guessed = " guessed" if spot.guessed else ""
        across = f"{spot.x_mm:.0f}", f"{map_.machine.width_mm - spot.x_mm:.0f}", f"{spot.y_mm:.0f}{guessed}"
        rows.append(("☐", escape(place.area), escape(place.label), *across, _seat(place), _pixels(map_, place)))
    heads = ("", "Area", "Place", "From left", "From right", "From near edge", "Depth, diffuser", "Pixel")
    words = (
        "<p>Millimetres, seen from above. From below left and right change sides: measure from the edge that is named, and "
        "look at what is on both sides of the wood before you drill.</p>"
    )
    return section("Drilling and seating, by area", words, table(heads, rows, name="dense")) if rows else ""


def _left(map_: PlayfieldMap) -> str:
    """The worklist, with boxes to tick on paper."""
    rows = [
        (
            "☑" if item.done else "☐",
            own(item.need.moment.value),
            escape(item.need.area),
            escape(item.need.words),
            escape(item.need.detail),
        )
        for item in all_left(map_)
    ]
    heads = ("", "When", "Area", "What", "More")
    return section("What is left", table(heads, rows, name="dense")) if rows else ""


def _log(map_: PlayfieldMap) -> str:
    rows = []
    for evening in reversed(evenings(map_)[-REVISIONS_SHOWN:]):
        left = "" if evening.left is None else f"{len(evening.left)}"
        rows.append((escape(evening.date), own(evening.time), escape("; ".join(evening.done), most=LONGEST_LINE), left))
    words = "<p>Time is from the first to the last thing saved: at least so much.</p>"
    heads = ("Evening", "Time", "Done", "Lines left")
    return section("Log of evenings", words, table(heads, rows, name="dense text")) if rows else ""


_PICTURES = ((b"\xff\xd8\xff", "jpeg"), (b"\x89PNG\r\n\x1a\n", "png"), (b"GIF8", "gif"), (b"RIFF", "webp"))
"""How pictures begin, and their kind: JPEG (ITU-T T.81), PNG (W3C), GIF89a, WebP (RFC 9649)."""


def _photos(map_: PlayfieldMap, contents: Mapping[str, bytes]) -> str:
    """Photos with what they show; one whose file is not there, or is no picture, by its name alone."""
    parts = []
    for name, of, words in titles(map_):
        content = contents.get(name, b"")
        kind = next((kind for head, kind in _PICTURES if content.startswith(head)), "")
        shown = f'<img src="data:image/{kind};base64,{b64encode(content).decode()}" alt="">' if kind else ""
        missing = "" if kind else " (not beside the map file when this was made)"
        caption = f"{escape(of)}" + (f": {escape(words)}" if words else "")
        parts.append(f"<p>{shown}{caption}, {escape(name)}{missing}</p>")
    return section("Photos, from the folder of the map file", *parts, name="photos") if parts else ""


def _revisions(map_: PlayfieldMap) -> str:
    rows = [
        (
            str(revision.number),
            escape(local_date(revision.time)),
            escape(revision.reason),
            "; ".join(escape(change) for change in revision.changes[:6])
            + (f"; and {len(revision.changes) - 6} more" if len(revision.changes) > 6 else ""),
        )
        for revision in reversed(map_.revisions[-REVISIONS_SHOWN:])
    ]
    return section("Revisions, the last first", table(("No.", "Date", "Reason", "Changes"), rows)) if rows else ""
