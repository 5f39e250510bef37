"""The sheet in a real browser: printed on A4 and Letter, seen as a picture, with hostile labels, without a network."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from probe.document.file import demo_map_path, load_map
from probe.export.sheet import sheet_html
from probe.export.sheet_picture import picture_svg
from tests.sheet.chromium import dom, need, pixels, to_pdf, to_png
from tests.sheet.test_sheet import hostile_map

DEMO = load_map(demo_map_path())
PAPERS = {"A4": (595.3, 841.9), "letter": (612.0, 792.0)}


def page(tmp_path: Path, html: str) -> Path:
    where = tmp_path / "sheet.html"
    where.write_text(html, encoding="utf-8")
    return where


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_it_prints_on_both_papers_with_nothing_cut_off(tmp_path: Path, paper: str) -> None:
    # the sheet leaves the size to the printer; a test has no printer, so it says the paper in its copy
    html = sheet_html(DEMO).replace("@page {", f"@page {{ size: {paper};", 1)
    pdf = to_pdf(page(tmp_path, html), tmp_path)
    info = subprocess.run([need("pdfinfo"), str(pdf)], capture_output=True, text=True, check=True).stdout
    width, height = map(float, re.findall(r"Page size:\s+([\d.]+) x ([\d.]+)", info)[0])
    assert width == pytest.approx(PAPERS[paper][0], abs=1)
    assert height == pytest.approx(PAPERS[paper][1], abs=1)
    pages = int(re.findall(r"Pages:\s+(\d+)", info)[0])
    assert 6 <= pages <= 16
    boxes = subprocess.run(
        [need("pdftotext"), "-bbox", str(pdf), str(tmp_path / "b.html")], capture_output=True, check=True
    )
    assert boxes.returncode == 0
    found = re.findall(
        r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">', (tmp_path / "b.html").read_text()
    )
    assert len(found) > 1_500
    for left, top, right, bottom in (tuple(map(float, box)) for box in found):
        assert left >= 25
        assert right <= width - 25
        assert top >= 20
        assert bottom <= height - 20


def test_printed_text_is_all_there(tmp_path: Path) -> None:
    pdf = to_pdf(page(tmp_path, sheet_html(DEMO)), tmp_path)
    said = subprocess.run([need("pdftotext"), "-layout", str(pdf), "-"], capture_output=True, text=True, check=True)
    text = re.sub(r"\s+", " ", said.stdout)
    for wanted in ("Kelp Forest", "Cautions", "83 (84th)", "Whirlpool", "How to recheck", "join data out of pixel 78"):
        assert wanted in text, wanted


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


def test_the_picture_alone_opens_too(tmp_path: Path) -> None:
    where = tmp_path / "picture.svg"
    where.write_text(picture_svg(DEMO), encoding="utf-8")
    _, _, rows = pixels(to_png(where, tmp_path, width=300, height=900))
    inked = sum(row[k] < 140 for row in rows for k in range(0, len(row), 3))
    assert inked > 500
