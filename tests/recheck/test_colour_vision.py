"""The four colours stay apart for eyes without one kind of cones: the light of the diodes through a dichromat model.

The model is that of Machado, Oliveira and Fernandes (IEEE TVCG 15(6):1291, 2009; doi 10.1109/TVCG.2009.113) in the
reference library colour-science: its matrices are computed for the primaries of these diodes, not taken for a screen's.
"""

from __future__ import annotations

import itertools
from typing import Any

import colour
import numpy as np
import numpy.typing as npt
import pytest

from probe.lighting.plastics import DOMINANT_NM, HALF_WIDTH_NM, MILLICANDELA
from probe.recheck.colours import LOOK_COLOURS, START_LEVEL, colours_words

Floats = npt.NDArray[np.float64]

# d_LMS in nm: L cones as M, M as L, and S as far as the model goes
SHIFTS = {"protan": (20.0, 0.0, 0.0), "deutan": (0.0, 20.0, 0.0), "tritan": (0.0, 0.0, 59.00590434857581)}
SCREEN = {
    "protan": (0.152286, 1.052583, -0.204868),
    "deutan": (0.367322, 0.860646, -0.227968),
    "tritan": (1.255528, -0.076749, -0.178779),
}
"""First rows of the published table at severity 1.0: the control, for a screen's primaries."""
APART_UV = 0.03
"""Colours this far apart in u'v' (CIE 15) are told apart; ten times the step seen side by side, as for plastics."""
BRIGHTNESS = 2.0
"""Or one is this many times as bright as the other: steps of a half are seen from minute to minute. Own choice."""


def _matrix(primaries: Any, kind: str) -> Floats:
    cones = colour.MSDS_CMFS["Smith & Pokorny 1975 Normal Trichromats"]
    found: Any = colour.matrix_anomalous_trichromacy_Machado2009(cones, primaries, np.array(SHIFTS[kind]))
    return np.array(found, dtype=np.float64)


def _diodes() -> Any:
    """The spectra of red, green and blue, in proportion to their light at full duty."""
    shape = colour.SpectralShape(390, 780, 1)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    found = []
    for peak, width, mcd in zip(DOMINANT_NM, HALF_WIDTH_NM, MILLICANDELA, strict=False):
        one = colour.sd_single_led(peak, shape, method="Ohno 2005", half_spectral_width=width)
        found.append(one.values * mcd / float((one.values * observer.values[:, 1]).sum()))
    data = dict(zip(shape.range(), np.transpose(found).tolist(), strict=True))
    return colour.characterisation.RGB_DisplayPrimaries(data, labels=["red", "green", "blue"])


def _seen(kind: str) -> list[tuple[float, Floats]]:
    """Luminance and u'v' of each of the four as that eye has them; linear duty, nothing of sRGB."""
    primaries = _diodes()
    matrix = np.eye(3) if kind == "all cones" else _matrix(primaries, kind)
    shape = primaries.shape
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    to_xyz = np.transpose(observer.values) @ primaries.values
    found = []
    for one in LOOK_COLOURS:
        light = one.at(START_LEVEL)
        duty = np.array([light.red, light.green, light.blue]) / 255
        xyz = to_xyz @ (matrix @ duty)
        x, y, z = (float(v) for v in xyz)
        whole = x + 15 * y + 3 * z
        found.append((y, np.array([4 * x / whole, 9 * y / whole])))
    return found


@pytest.mark.parametrize("kind", SHIFTS)
def test_control_the_published_table_for_a_screen(kind: str) -> None:
    screen = colour.MSDS_DISPLAY_PRIMARIES["Typical CRT Brainard 1997"]
    assert _matrix(screen, kind)[0] == pytest.approx(SCREEN[kind], abs=1e-3 if kind == "tritan" else 1e-4)


@pytest.mark.parametrize("kind", ["all cones", *SHIFTS])
def test_the_four_stay_apart_in_hue_or_in_brightness(kind: str) -> None:
    seen = _seen(kind)
    for (one, a), (other, b) in itertools.combinations(zip(LOOK_COLOURS, seen, strict=True), 2):
        apart = float(np.linalg.norm(a[1] - b[1]))
        brighter = max(a[0], b[0]) / min(a[0], b[0])
        assert apart > APART_UV or brighter > BRIGHTNESS, (kind, one.word, other.word, apart, brighter)


@pytest.mark.parametrize("kind", SHIFTS)
def test_light_without_hue_is_kept(kind: str) -> None:
    assert _matrix(_diodes(), kind).sum(axis=1) == pytest.approx(np.ones(3), abs=1e-6)


def test_each_has_a_sign_and_a_word_of_its_own_beside_it() -> None:
    words = [colours_words((n,)) for n in range(4)]
    assert len(set(words)) == 4
    assert len({word[0] for word in words}) == 4
