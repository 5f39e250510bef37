"""The sheet in a real browser: printed on A4 and Letter, seen as a picture, with hostile labels, without a network."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, Pixel, PixelState, Place, PlayfieldMap, Position
from probe.document.model.harness import Feed, Supply
from probe.export.first_page import MOST_LISTED
from probe.export.sheet import sheet_html
from probe.export.sheet_picture import picture_svg
from tests.sheet.chromium import dom, need, pixels, to_pdf, to_png
from tests.sheet.test_sheet import hostile_map
from tests.support.examples import first_now

DEMO = load_map(demo_map_path())
PAPERS = {"A4": (595.3, 841.9), "letter": (612.0, 792.0)}


def page(tmp_path: Path, html: str) -> Path:
    where = tmp_path / "sheet.html"
    where.write_text(html, encoding="utf-8")
    return where


@pytest.mark.slow
@pytest.mark.parametrize("paper", first_now(sorted(PAPERS)))
def test_it_prints_on_both_papers_with_nothing_cut_off(tmp_path: Path, paper: str) -> None:
    # the sheet leaves the size to the printer; a test has no printer, so it says the paper in its copy
    html = sheet_html(DEMO).replace("@page {", f"@page {{ size: {paper};", 1)
    pdf = to_pdf(page(tmp_path, html), tmp_path)
    info = subprocess.run([need("pdfinfo"), str(pdf)], capture_output=True, text=True, check=True).stdout
    width, height = map(float, re.findall(r"Page size:\s+([\d.]+) x ([\d.]+)", info)[0])
    assert width == pytest.approx(PAPERS[paper][0], abs=1)
    assert height == pytest.approx(PAPERS[paper][1], abs=1)
    pages = int(re.findall(r"Pages:\s+(\d+)", info)[0])
    assert 6 <= pages <= 15  # the first stands by itself; cut list, worklist, log and circuits follow
    found = boxes_of(pdf, tmp_path)
    assert len(found) > 1_500
    for left, top, right, bottom in found:
        assert left >= 25
        assert right <= width - 25
        assert top >= 20
        assert bottom <= height - 20


def crowded_map() -> PlayfieldMap:
    """As much of everything on the first page as it takes: many chains and feeds, hostile names, a full list of numbers."""
    map_ = hostile_map()
    pixels = tuple(Pixel(id=f"z-{n}", note=f"n{n}") for n in range(MOST_LISTED * 2))
    places = tuple(
        Place(
            id=f"z{n}",
            label=f"{n} " + "W" * 60,
            area=f"area {n // 3} " + "M" * 50,
            position=Position(x_mm=9 * n, y_mm=9 * n),
        )
        for n in range(90)
    )
    lit = tuple(
        p.model_copy(update={"place": f"z{n}", "state": PixelState.PLACED}) if n < 90 else p
        for n, p in enumerate(pixels)
    )
    chains = [Chain(id=f"c{n}", name="W" * 80, output=n + 1, pixels=lit if n == 0 else ()) for n in range(9)]
    feeds = tuple(
        Feed(id=f"f{n}", name="W" * 90, chain="c0", pixel=f"z-{n}", supply="s0", wire="18 AWG", fuse_a=3)
        for n in range(20)
    )
    supplies = tuple(Supply(id=f"s{n}", name="W" * 90, rating_a=6) for n in range(9))
    update = {
        "chains": (*map_.chains, *chains),
        "places": (*map_.places, *places),
        "feeds": feeds,
        "supplies": supplies,
    }
    machine = map_.machine.model_copy(update={"name": "W" * 300, "note": "W " * 300})
    return map_.model_copy(update=update | {"machine": machine})


@pytest.mark.slow
@pytest.mark.parametrize("paper", sorted(PAPERS))
@pytest.mark.parametrize("map_", [DEMO, crowded_map(), hostile_map()], ids=["demo", "crowded", "hostile"])
def test_what_the_person_at_the_cabinet_needs_is_one_page(tmp_path: Path, map_: PlayfieldMap, paper: str) -> None:
    """With the picture whole on it: nothing of it goes on to the second page, and nothing of it is cut off."""
    html = sheet_html(map_).replace("@page {", f"@page {{ size: {paper};", 1)
    pdf = to_pdf(page(tmp_path, html), tmp_path)
    said = [text_of(pdf, number) for number in (1, 2)]
    assert "Cautions" in said[0]
    assert said[1].startswith("Chains")
    last = re.findall(r"<p><b>([^<]*)</b>", html)[-1]
    for wanted in (
        "It cannot see your wiring.",
        "print this sheet anew.",
        "Feeds and fuses",
        "player, from above",
        last,
    ):
        assert wanted in said[0], wanted
    numbers = {"83", "b22", "dark or dead"} if map_ is DEMO else set()
    assert all(re.search(rf"(?<!\w){number}(?!\w)", said[0]) for number in numbers)
    lines = [line for line in boxes_of(pdf, tmp_path) if line[3] > PAPERS[paper][1] - 20]
    assert lines == []
    listed = html.split('<section class="list')[1].split("</section>")[0]
    shown = said[0][said[0].index("What each number lights") :]
    for number in re.findall(r"<p><b>([^<]+)</b>", listed):
        assert number in shown, number


def text_of(pdf: Path, number: int) -> str:
    """The words of one page."""
    command = [need("pdftotext"), "-f", str(number), "-l", str(number), str(pdf), "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return re.sub(r"\s+", " ", said)


def boxes_of(pdf: Path, folder: Path) -> list[tuple[float, ...]]:
    """Every word of a document as left, top, right, bottom, in points."""
    subprocess.run([need("pdftotext"), "-bbox", str(pdf), str(folder / "b.html")], capture_output=True, check=True)
    pattern = r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">'
    return [tuple(map(float, box)) for box in re.findall(pattern, (folder / "b.html").read_text())]


@pytest.mark.slow
def test_printed_text_is_all_there(tmp_path: Path) -> None:
    pdf = to_pdf(page(tmp_path, sheet_html(DEMO)), tmp_path)
    said = subprocess.run([need("pdftotext"), "-layout", str(pdf), "-"], capture_output=True, text=True, check=True)
    text = re.sub(r"\s+", " ", said.stdout)
    for wanted in ("Kelp Forest", "Cautions", "83 (84th)", "Whirlpool", "How to recheck", "join data out of pixel 78"):
        assert wanted in text, wanted


@pytest.mark.slow
def test_it_is_black_on_white(tmp_path: Path) -> None:
    png = to_png(page(tmp_path, sheet_html(DEMO)), tmp_path, width=600, height=1_200)
    _, height, rows = pixels(png)
    greys = inked = 0
    for row in rows[::3]:
        for k in range(0, len(row), 3 * 2):
            red, green, blue = row[k : k + 3]
            greys += abs(red - green) < 12 and abs(green - blue) < 12
            inked += red < 128
    total = len(rows[::3]) * len(range(0, len(rows[0]), 6))
    assert greys == total  # nothing rests on colour: there is none
    assert 0.01 < inked / total < 0.3
    assert height == 1_200


def test_hostile_labels_run_nothing_in_a_browser(tmp_path: Path) -> None:
    html = sheet_html(hostile_map())
    seen = dom(page(tmp_path, html), tmp_path)
    assert "<script" not in seen
    assert "<img" not in seen
    assert "<a " not in seen
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in seen
    pdf = to_pdf(page(tmp_path, html), tmp_path)
    assert pdf.stat().st_size > 10_000


@pytest.mark.slow
def test_the_picture_alone_opens_too(tmp_path: Path) -> None:
    where = tmp_path / "picture.svg"
    where.write_text(picture_svg(DEMO), encoding="utf-8")
    _, _, rows = pixels(to_png(where, tmp_path, width=300, height=900))
    inked = sum(row[k] < 140 for row in rows for k in range(0, len(row), 3))
    assert inked > 500
