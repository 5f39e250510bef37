"""The sheet for the cabinet: what it says, that hostile text is harmless, that it needs no network, the same every time."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.__main__ import main
from probe.document.file import demo_map_path, load_map
from probe.document.local_time import local_date, local_minute
from probe.document.model import Chain, Kind, PlayfieldMap, Position
from probe.document.model.game import Verdict
from probe.document.model.light import Fade, Rating, Reading
from probe.document.operations import (
    add_chain,
    add_place,
    add_revision,
    assign_place,
    new_map,
    set_count,
    set_note,
    update_place,
)
from probe.document.proving import add_proof, standings
from probe.export.sheet import sheet_html
from probe.export.sheet_picture import DrawnPart, parts_of, picture_svg
from probe.export.sheet_text import MOST, clean, escape
from probe.playfield import strokes_of
from tests.document.strategies import maps
from tests.support.examples import examples

DEMO = load_map(demo_map_path())
HOSTILE = (
    "<script>alert(1)</script>",
    "</title><script>alert(2)</script>",
    "</style><img src=x onerror=alert(3)>",
    "]]><svg onload=alert(4)>",
    '"><a href="javascript:alert(5)">x</a>',
    "' onmouseover='alert(6)",
    "&lt;b&gt; &amp; &#x3c;",
    "--><b>",
    "\u202ereversed \u2066isolated",
    "null \x00 bell \x07 escape \x1b[31m",
    "line one\nline two\r\n\ttab",
    "@import url(//example.invalid/x.css)",
    "x" * 1_900,
    "\ufffe\uffff non-characters",
    "emoji 🐙🏴‍☠️ שלום",
)


class Tree(HTMLParser):
    """Every element with its attributes, and the text outside of style."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)


def parsed(html: str) -> Tree:
    tree = Tree()
    tree.feed(html)
    tree.close()
    return tree


def words_of(html: str) -> str:
    return re.sub(r"\s+", " ", " ".join(parsed(html).words))


ALLOWED = {
    *(
        [
            "html",
            "head",
            "meta",
            "title",
            "style",
            "body",
            "h1",
            "h2",
            "h3",
            "p",
            "ul",
            "ol",
            "li",
            "section",
            "footer",
            "table",
            "thead",
            "tbody",
            "tr",
            "th",
            "td",
            "bdi",
            "span",
            "b",
        ]
    ),
    *(["svg", "g", "rect", "circle", "path", "polygon", "polyline", "text"]),
}
ALLOWED_ATTRIBUTES = {
    *(["lang", "charset", "http-equiv", "content", "name", "class"]),
    *(
        [
            "xmlns",
            "version",
            "viewbox",
            "width",
            "height",
            "font-family",
            "font-size",
            "role",
            "fill",
            "stroke",
            "stroke-width",
            "stroke-dasharray",
        ]
    ),
    *(["paint-order", "stroke-linejoin", "cx", "cy", "r", "x", "y", "d", "points", "transform", "text-anchor"]),
}


def is_harmless(html: str) -> None:
    """Only the elements and attributes that we write, and nothing that fetches."""
    for tag, attributes in parsed(html).tags:
        assert tag in ALLOWED, tag
        assert set(attributes) <= ALLOWED_ATTRIBUTES, (tag, attributes)
    outside = re.sub(r'xmlns="http://www\.w3\.org/2000/svg"', "", html)
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL)
    assert style is not None
    assert "url(" not in style[1]
    assert "@import" not in style[1]
    assert not re.search(r"<[^>]*(?:https?:|//|javascript:|data:)", outside)


def hostile_map() -> PlayfieldMap:
    map_ = add_chain(new_map(HOSTILE[1]), Chain(id="a", name=HOSTILE[0], output=0, note=HOSTILE[4]))
    map_ = set_count(map_, "a", len(HOSTILE))
    for number, label in enumerate(HOSTILE):
        kind = list(Kind)[number % len(Kind)]
        spot = Position(x_mm=20.0 + 30 * number, y_mm=40.0 + 60 * number)
        map_, place = add_place(
            map_, label, area=label[:100], kind=kind, position=spot, lamps=(number,), group=label[:50]
        )
        map_ = set_note(assign_place(map_, "a", number, place.id), "a", number, label)
    lamps = tuple(lamp.model_copy(update={"name": HOSTILE[n % len(HOSTILE)]}) for n, lamp in enumerate(DEMO.lamps[:9]))
    map_ = map_.model_copy(update={"lamps": lamps})
    return add_revision(map_, time=HOSTILE[0], reason=HOSTILE[2], changes=HOSTILE)


@pytest.mark.slow
def test_everything_that_an_owner_needs_is_on_it() -> None:
    map_ = DEMO.model_copy(update={"fade": Fade()})
    first = next(found for found in standings(map_) if found.lamp == 1)
    map_ = add_proof(map_, first, Verdict.RIGHT, time="2025-04-02T20:00:00Z", by_table=True)
    readings = [
        Reading(round=1, place=place.id, rating=rating, time="2025-04-03T20:00:00Z")
        for place, rating in zip(map_.places, (Rating.FAIR, Rating.FAIR, Rating.DARK), strict=False)
    ]
    map_ = map_.model_copy(update={"readings": tuple(readings)})
    text = words_of(sheet_html(map_))
    for wanted in (
        "Kelp Forest",
        f"2 of {local_date('2025-03-16T10:05:00Z')} : One more insert lit",
        f"last {local_minute('2025-04-02T20:00:00Z')}",
        f"Lines left {local_date('2025-04-03T20:00:00Z')} time not known",
        "Cautions",
        "Unplug the machine at the wall",
        "How to recheck",
        "Picture and route",
        "By number: Playfield, output 0",
        "14 (15th)",
        "By place",
        "By lamp",
        "Feeds, fuses and supplies",
        "Bumper cove: 1.1 m of 18 AWG",
        "Joints by function",
        "join ground of pixel 78 (its black) to ground of pixel 79 (its blue)",
        "Second reel: 5 V white, ground blue, data in yellow, data out yellow",
        "Levels and groups",
        "glow up with 40 ms",
        "Evenness of general illumination",
        "Emin/Eavg",
        "Revisions, the last first",
    ):
        assert wanted in text, wanted
    for place in map_.places:
        assert clean(place.label) in text
    for lamp in map_.lamps:
        assert lamp.number is None or clean(lamp.name) in text


@pytest.mark.slow
def test_every_number_and_lamp_has_its_row() -> None:
    html = sheet_html(DEMO)
    rows = re.findall(r"<tr><td>(\d+) \((\d+)(?:st|nd|rd|th)\)</td>", html)
    wanted = [(str(n), str(n + 1)) for chain in DEMO.chains for n in range(len(chain.pixels))]
    assert rows == wanted
    lamps = {number for place in DEMO.places for number in place.lamps}
    lamp_part = html[html.index("<h2>By lamp</h2>") : html.index("<h2>Levels and groups</h2>")]
    assert [int(n) for n in re.findall(r"<tr><td>(\d+)</td>", lamp_part)] == sorted(lamps)


def test_what_is_not_noted_is_not_pretended() -> None:
    html = sheet_html(new_map("Kelp Forest"))
    text = words_of(html)
    assert "none yet" in text
    assert "no lamp has a pixel yet" in text
    assert "Feeds" not in text
    assert "Joints by function" not in text
    assert "Evenness" not in text
    is_harmless(html)


def test_hostile_text_is_text() -> None:
    html = sheet_html(hostile_map())
    is_harmless(html)
    text = words_of(html)
    for label in HOSTILE:
        assert re.sub(r"\s+", " ", clean(label)) in text
    assert "alert(1)" in text
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", html)


@pytest.mark.slow
def test_the_voltage_along_each_chain_is_drawn() -> None:
    drawn = re.findall(r'<p class="volts">(.*?)</p>', sheet_html(DEMO), flags=re.DOTALL)
    titles = [ElementTree.fromstring(each).findtext("{http://www.w3.org/2000/svg}title") for each in drawn]
    assert titles == [f"{chain.name}, at the ceiling" for chain in DEMO.chains]


@pytest.mark.slow
@pytest.mark.long
@settings(max_examples=examples(15))
@given(maps())
def test_any_map_makes_a_harmless_sheet_and_a_well_formed_picture(map_: PlayfieldMap) -> None:
    html = sheet_html(map_)
    is_harmless(html)
    assert html == sheet_html(map_)
    for below in (False, True):
        for part in parts_of(map_):
            ElementTree.fromstring(picture_svg(map_, from_below=below, part=part))


@given(st.text(max_size=400))
def test_text_from_outside_is_cleaned_and_escaped(text: str) -> None:
    shown = escape(text)
    inner = shown.removeprefix("<bdi>").removesuffix("</bdi>")
    assert not re.search("[<>\"']", inner)
    assert len(clean(text)) <= MOST
    assert clean(clean(text)) == clean(text)
    if shown:
        ElementTree.fromstring(shown)


@pytest.mark.slow
def test_the_same_map_gives_the_same_bytes_in_another_process(tmp_path: Path) -> None:
    """Another hash seed changes nothing; another time zone only local dates."""

    def made(name: str, **environment: str) -> tuple[str, bytes]:
        out, picture = tmp_path / f"{name}.html", tmp_path / f"{name}.svg"
        subprocess.run(
            [sys.executable, "-m", "probe", "sheet", str(demo_map_path()), "-o", str(out), "--picture", str(picture)],
            env={**os.environ, **environment},
            check=True,
            timeout=120,
        )
        return out.read_text(encoding="utf-8"), picture.read_bytes()

    first = made("one", PYTHONHASHSEED="1")
    assert first[0] == sheet_html(DEMO)  # this process has a hash seed of its own
    east = made("east", PYTHONHASHSEED="2", TZ="Pacific/Kiritimati")
    west = made("west", PYTHONHASHSEED="3", TZ="Pacific/Pago_Pago")
    assert east != west  # 25 hours apart: no evening has the same date in both
    local_day = re.compile(r"(?<=<tr><td>)\d{4}-\d{2}-\d{2}(?=</td>)|\b\d{1,2} [A-Z][a-z]{2} \d{4}\b")
    sheets = {local_day.sub("day", sheet) for sheet, _ in (first, east, west)}
    assert len(sheets) == 1
    assert first[1] == east[1] == west[1]


def test_the_picture_has_every_place_number_and_route() -> None:
    svg = ElementTree.fromstring(picture_svg(DEMO))
    space = "{http://www.w3.org/2000/svg}"
    titles = {title.text for title in svg.iter(f"{space}title")}
    assert {clean(place.label) for place in DEMO.places} <= titles
    texts = {text.text for text in svg.iter(f"{space}text")}
    assert {"10", "56,57", "b15,b16", "insert", "bumper", "dark or dead"} <= texts
    assert len(list(svg.iter(f"{space}polyline"))) == len(DEMO.chains)
    drawn = [path for path in svg.iter(f"{space}path") if path.get("stroke") in ("#bbb", "#888")]
    assert len(drawn) == sum(len(strokes_of(shape)) for shape in DEMO.shapes)
    plain = ElementTree.fromstring(picture_svg(DEMO, route=False))
    assert not list(plain.iter(f"{space}polyline"))


def test_the_picture_is_mirrored_from_below() -> None:
    map_ = new_map("Kelp Forest")
    map_, place = add_place(map_, "Left", position=Position(x_mm=0, y_mm=100))
    pattern = re.compile(r'<title>Left</title><circle cx="([\d.]+)"')
    above, below = (pattern.search(picture_svg(map_, from_below=b)) for b in (False, True))
    assert above is not None
    assert below is not None
    assert float(below[1]) - float(above[1]) == pytest.approx(map_.machine.width_mm, abs=0.2)
    assert "mirrored" in picture_svg(map_, from_below=True)
    lost = update_place(map_, place.model_copy(update={"position": None}))
    assert "1 place has no position" in picture_svg(lost)


@pytest.mark.slow
def test_what_lies_beyond_the_playfield_gets_a_picture_of_its_own() -> None:
    assert parts_of(DEMO) == (DrawnPart.PLAYFIELD, DrawnPart.ABOVE)
    assert parts_of(hostile_map()) == (DrawnPart.WHOLE,)
    html = sheet_html(DEMO)
    assert html.split('<p class="volts">')[0].count("<svg") == 2


@pytest.mark.slow
def test_the_command(tmp_path: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    path = str(demo_map_path())
    assert main(["sheet", path]) == 0
    assert capsysbinary.readouterr().out == sheet_html(DEMO).encode()
    assert main(["sheet", path, "--picture", str(tmp_path / "p.svg"), "--from-below"]) == 0
    assert (tmp_path / "p.svg").read_text(encoding="utf-8") == picture_svg(DEMO, from_below=True)
    same = str(tmp_path / "both")
    assert main(["sheet", path, "-o", same, "--picture", same]) == 2
    copy = tmp_path / "copy.json"
    copy.write_bytes(Path(path).read_bytes())
    assert main(["sheet", str(copy), "-o", str(copy)]) == 2
    assert load_map(copy) == DEMO
    assert main(["sheet", str(tmp_path / "none.json"), "-o", str(tmp_path / "x.html")]) == 3
