"""The sheet for the cabinet: one HTML file that needs nothing else, for paper.

`sheet_html(m)`: map by number, by place and by lamp; the picture with the route; joints by function; feeds and fuses;
levels; revision, date and last proof; how to recheck; cautions. Black on white, A4 and Letter. It refers to nothing on
any network, runs no script, and the same map gives the same bytes (dates in it are the map's own).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from device_protocol.lightness import DUTY
from probe.cautions import CABINET, Moment, cautions
from probe.document.lamp_table import lamp_table, light_of
from probe.document.model import Chain, Pixel, PixelState, Place, PlayfieldMap, shown_number
from probe.document.operations import folded
from probe.document.proving import Standing, standings, tally
from probe.export.sheet_picture import parts_of, picture_svg
from probe.export.sheet_text import bullets, clean, escape, own, section, table
from probe.export.voltage_svg import drawings
from probe.harness.from_map import compute
from probe.harness.joints import JointSeverity, SheetRow, sheet_rows
from probe.harness.words import batch_lines, finding_lines, power_sections
from probe.lighting.evenness import last_round, measured, readings_of

CSS = Path(__file__).with_name("sheet.css")
REVISIONS_SHOWN = 12
LONGEST_LINE = 4_000
_POWER_SECTIONS = ("Feeds and fuses", "Supplies", "Lowest voltage", "Assumed, for want of a note")

RECHECK = (
    "Install playfield-probe on any computer with Python; its map file is named at the head of this sheet if the owner "
    "wrote it there.",
    "Glass off, room dark, board on its USB cable, pixels on their own supply.",
    "Run playfield-probe recheck MAP: it lights the chain so that a few answers tell whether every number is still at its "
    "place, and where pixels were added or taken out since.",
    "Without the program: light numbers 0, the middle and the last of each chain with the board's own orders "
    "(a bare serial terminal, 115200, order ? names the board) and compare with the map by number.",
    "After any splice: recheck, put the table into the board again, prove the lamps in the game, print this sheet anew.",
)


def sheet_html(map_: PlayfieldMap, *, from_below: bool = False) -> str:
    """The sheet. `from_below`: the picture is mirrored, for work under the raised playfield."""
    title = f"{clean(map_.machine.name) or 'Machine'}: sheet for the cabinet"
    body = [
        _head(map_),
        section("Cautions", bullets(own(line) for line in CABINET), name="caution"),
        _chains(map_),
        section("How to recheck", "<ol>" + "".join(f"<li>{own(line)}</li>" for line in RECHECK) + "</ol>"),
        section(
            "Picture and route",
            "<p>Numbers are pixels of the chain; the line is the order of the wire, from its black mark on.</p>",
            *(picture_svg(map_, from_below=from_below, inline=True, part=part).strip() for part in parts_of(map_)),
            name="picture",
        ),
        *_by_number(map_),
        _by_place(map_),
        _by_lamp(map_),
        _groups(map_),
        _evenness(map_),
        *_power(map_),
        *_joints(map_),
        _revisions(map_),
        "<footer>Made with playfield-probe from the map file; print it again after every change.</footer>",
    ]
    css = CSS.read_text(encoding="utf-8")
    inside = "\n".join(part for part in body if part)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{own(title)}</title>\n<style>\n{css}</style>\n</head>\n<body>\n{inside}\n</body>\n</html>\n"
    )


def date_of(time: str) -> str:
    """The day of an RFC 3339 time; the text itself where it is none."""
    return time[:10] if re.match(r"\d{4}-\d{2}-\d{2}", time) else time


def _head(map_: PlayfieldMap) -> str:
    last = map_.revisions[-1] if map_.revisions else None
    pixels = sum(len(chain.pixels) for chain in map_.chains)
    revision = "none yet" if last is None else f"{last.number} of {escape(date_of(last.time))}: {escape(last.reason)}"
    if map_.pending:
        revision += f" and {len(map_.pending)} changes since that are not closed"
    rows = [
        ("Revision", revision),
        ("Last proof in the game", own(tally(map_).words)),
        ("Pixels, places, lamps", f"{pixels}, {len(map_.places)}, {len(map_.lamps)}"),
        ("Playfield", f"{map_.machine.width_mm:g} × {map_.machine.length_mm:g} mm"),
        ("Map file, board, where kept", "&nbsp;"),
    ]
    if map_.machine.note:
        rows.append(("Note", escape(map_.machine.note)))
    body = "\n".join(f"<tr><td>{own(name)}</td><td>{value}</td></tr>" for name, value in rows)
    facts = f'<table class="facts"><tbody>\n{body}\n</tbody></table>'
    return f"<h1>{escape(map_.machine.name)}</h1>\n{facts}"


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
    batches = {batch.id: batch.name for batch in map_.batches}
    for chain in map_.chains:
        rows = []
        last_batch = None
        for number, pixel in enumerate(chain.pixels):
            place = map_.place_of(pixel)
            batch = "" if pixel.batch == last_batch else escape(batches.get(pixel.batch or "", "no batch noted"))
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
            proof += f" {date_of(found.proof.time)}"
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
                escape(date_of(times[-1])),
                f"{found.uniformity:.2f}",
                f"{found.diversity:.2f}",
                f"{found.count} ({own(of)})",
            )
        )
    heads = ("Walk", "Date", "Emin/Eavg", "Emin/Emax", "Points")
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
        plain_rule = (
            "<p>Every joint: ground to ground, 5 V to 5 V, data out of the pixel before to data in of the next. "
            f"{left} joints of like pixels with nothing else noted are not listed.</p>"
        )
        items = []
        for row in shown:
            flag = f'<span class="flag">{own(row.flag)}</span> ' if row.refused or row.flag == "ask" else ""
            inside = [_line(line) for line in row.joining]
            for problem in row.problems:
                word = "REFUSED" if problem.severity is JointSeverity.REFUSE else "ask"
                inside.append(f"{word}: {_line(problem.text)}")
            note = f" {escape(row.view.note)}" if row.view.note else ""
            made = f", made {own(row.view.made_on)}" if row.view.made_on else ""
            place = map_.place_of(chain.pixels[row.number])
            label = f" ({escape(place.label)})" if place is not None else ""
            items.append(f"{flag}<b>{own(row.ends)}</b>{label}{made}.{note}{bullets(inside)}")
        parts += [plain_rule, bullets(items, name="joints small")]
        yield section(f"Joints by function: {clean(chain.name)}, output {chain.output}", *parts)


def _worth_a_line(map_: PlayfieldMap, chain: Chain, row: SheetRow) -> bool:
    """Whether a joint is anything but the usual one between two pixels of one batch."""
    pixel = chain.pixels[row.number]
    before = chain.pixels[row.number - 1] if row.number else None
    noted = any(joint.before == pixel.id for joint in chain.joints)
    return noted or row.refused or before is None or before.batch != pixel.batch


def _revisions(map_: PlayfieldMap) -> str:
    rows = [
        (
            str(revision.number),
            escape(date_of(revision.time)),
            escape(revision.reason),
            "; ".join(escape(change) for change in revision.changes[:6])
            + (f"; and {len(revision.changes) - 6} more" if len(revision.changes) > 6 else ""),
        )
        for revision in reversed(map_.revisions[-REVISIONS_SHOWN:])
    ]
    return section("Revisions, the last first", table(("No.", "Date", "Reason", "Changes"), rows)) if rows else ""
