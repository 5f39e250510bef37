"""The voltage picture in characters and as SVG, and the cautions."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.cautions import CAUTIONS, Moment, cautions
from probe.export.voltage_svg import svg
from probe.harness.base import PowerError
from probe.harness.copper import WireKind
from probe.harness.picture import Role, VoltProfile, cells, picture, profile_of_plan
from probe.harness.plan import ChainPlan, FeedPlan, LoadState, NamedPixel, PixelRun, PowerPlan, SupplyPlan
from probe.harness.report import report
from tests.support.examples import examples

SVG = "{http://www.w3.org/2000/svg}"


def profile(volt: list[float], **changes: object) -> VoltProfile:
    values: dict[str, object] = {
        "title": "reef", "volt": np.array(volt), "low_line_volt": 4.5, "top_volt": 5.0, **changes,
    }  # fmt: skip
    return VoltProfile(**values)  # type: ignore[arg-type]


def small_plan() -> PowerPlan:
    return PowerPlan(
        chains=(
            ChainPlan(
                name="reef",
                runs=(PixelRun(kind="WS2812B-V5", count=60),),
                wire=WireKind(awg=22),
                spacing_m=0.1,
                places=(NamedPixel(pixel=7, name="kelp arch"), NamedPixel(pixel=55, name="shooter lane")),
            ),
        ),
        feeds=(FeedPlan(name="board end", chain="reef", pixel=0, supply="main", wire=WireKind(awg=18), length_m=0.5),),
        supplies=(SupplyPlan(name="main"),),
    )


def of_plan() -> VoltProfile:
    plan = small_plan()
    return profile_of_plan(report(plan), "reef", LoadState.CEILING)


@pytest.mark.parametrize(("width", "height"), [(78, 18), (120, 30), (30, 8), (61, 9)])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_every_row_fits_exactly(width: int, height: int, ascii_only: bool) -> None:
    drawn = picture(of_plan(), width=width, height=height, ascii_only=ascii_only)
    assert len(drawn.rows) == height
    for row in drawn.rows:
        assert cells("".join(span.text for span in row)) == width
    if ascii_only:
        assert all(line.isascii() for line in drawn.lines())


def test_picture_says_what_matters() -> None:
    lines = picture(of_plan(), width=78, height=18).lines()
    lowest = report(small_plan()).state(LoadState.CEILING).lowest
    assert f"lowest {lowest.volt:.2f} V at pixel 59, below 4.5 V" in lines[0]
    line = next(text for text in lines if text.startswith(" 4.50"))
    assert "┄┄┄" in line
    assert "▲board end@0" in lines[-2]
    assert "kelp arch@7" in lines[-1]
    assert "shooter lane@55" in lines[-1]
    assert lines[-3].split() == ["pixel", "0", "59"]


def test_low_pixels_have_a_sign_of_their_own() -> None:
    """Never by colour alone: `x` below the line, `o` above."""
    drawn = picture(profile([5.0] * 40 + [4.2] * 40), width=87, height=12, ascii_only=True)
    plot = [row[1:] for row in drawn.rows[1:-2]]
    low = "".join(s.text for row in plot for s in row if s.role is Role.LOW)
    enough = "".join(s.text for row in plot for s in row if s.role is Role.ENOUGH)
    assert (low, enough) == ("x" * 40, "o" * 40)
    assert not any(s.role is Role.LOW for row in picture(profile([4.9, 4.8]), width=40, height=8).rows for s in row)


@given(count=st.integers(1, 3000), dip=st.floats(0, 0.9999), width=st.integers(30, 140))
@settings(max_examples=examples(40), deadline=None)
def test_a_single_dip_is_never_lost(count: int, dip: float, width: int) -> None:
    volt = [4.95] * count
    volt[int(dip * count)] = 4.2
    drawn = picture(profile(volt), width=width, height=14, ascii_only=True)
    assert any(span.role is Role.LOW and "x" in span.text for row in drawn.rows[1:] for span in row)
    assert f"pixel {int(dip * count)}" in drawn.lines()[0]
    points = ET.fromstring(svg(profile(volt)).encode()).find(f"{SVG}polyline")
    assert points is not None
    heights = [float(p.split(",")[1]) for p in points.get("points", "").split()]
    assert (max(heights) > min(heights)) is (count > 1)


NAMES = st.lists(
    st.tuples(st.integers(0, 99), st.text(max_size=30)).map(lambda pair: NamedPixel(pixel=pair[0], name=pair[1])),
    max_size=8,
)


@pytest.mark.slow
@given(title=st.text(max_size=60), feeds=NAMES, places=NAMES, width=st.integers(30, 120), ascii_only=st.booleans())
@settings(max_examples=examples(80), deadline=None)
def test_any_names_fit_and_parse(
    title: str, feeds: list[NamedPixel], places: list[NamedPixel], width: int, ascii_only: bool
) -> None:
    """Names from files: control characters, markup, wide characters."""
    shown = profile([5 - k / 300 for k in range(100)], title=title, feeds=tuple(feeds), places=tuple(places))
    drawn = picture(shown, width=width, height=16, ascii_only=ascii_only)
    assert len(drawn.rows) == 16
    for row in drawn.rows:
        text = "".join(span.text for span in row)
        assert cells(text) == width
        assert not any(ord(c) < 32 or 127 <= ord(c) < 160 for c in text)
    root = ET.fromstring(svg(shown).encode())
    assert root.tag == f"{SVG}svg"


def test_names_that_do_not_fit_are_counted() -> None:
    marks = tuple(NamedPixel(pixel=k * 9, name=f"place number {k}") for k in range(11))
    line = picture(profile([4.9] * 100, places=marks), width=60, height=12).lines()[-1]
    shown = line.count("place number")
    assert line.endswith(f"+{11 - shown}")
    assert shown >= 2


def test_svg_holds_line_feeds_places_and_lowest() -> None:
    root = ET.fromstring(svg(of_plan()).encode())
    texts = [element.text or "" for element in root.iter(f"{SVG}text")]
    assert "4.5 V line" in texts
    assert any(t.startswith("lowest: 3.8") and t.endswith("at pixel 59 - too low") for t in texts), texts
    assert any("board end @0" in t for t in texts)
    assert any("shooter lane @55" in t for t in texts)
    assert root.get("version") == "1.1"
    curve = root.find(f"{SVG}polyline")
    assert curve is not None
    assert len(curve.get("points", "").split()) == 60


def test_svg_escapes_names() -> None:
    marks = (NamedPixel(pixel=0, name='<script>"&\x00'),)
    text = svg(profile([5.0, 4.9], feeds=marks, title="a < b & c"))
    assert "<script" not in text
    assert "&lt;script&gt;" in text
    ET.fromstring(text.encode())


def test_too_small_is_refused() -> None:
    with pytest.raises(PowerError, match="30 x 8 needed"):
        picture(profile([5.0]), width=29, height=20)
    with pytest.raises(PowerError, match="240 x 180 needed"):
        svg(profile([5.0]), width_px=100)
    with pytest.raises(PowerError, match="no voltages"):
        profile([])
    with pytest.raises(PowerError, match="no voltages"):
        profile([float("nan")])


def test_single_pixel_and_flat_curves_draw() -> None:
    for volt in ([4.9], [4.5], [5.0, 5.0], [0.0, 0.0]):
        assert len(picture(profile(volt), width=30, height=8).rows) == 8
        ET.fromstring(svg(profile(volt)).encode())


@pytest.mark.parametrize(
    ("moment", "needed"),
    [
        (Moment.PLANNING, {"unplug", "stored-charge", "polarity", "fuse", "usb-apart", "wall-side", "hint"}),
        (Moment.OPENING, {"unplug", "stored-charge", "polarity", "usb-apart", "no-hot-plug", "hot-solder"}),
        (Moment.POWERING, {"polarity", "fuse", "usb-apart", "no-hot-plug", "smell-heat"}),
    ],
)
def test_cautions_for_each_moment(moment: Moment, needed: set[str]) -> None:
    assert needed <= {caution.code for caution in cautions(moment)}


def test_cautions_are_told_apart_and_unplugging_comes_first() -> None:
    assert len({c.code for c in CAUTIONS}) == len(CAUTIONS)
    assert cautions(Moment.OPENING)[0].code == "unplug"
    assert all(len(c.text) <= 200 and c.moments for c in CAUTIONS)
