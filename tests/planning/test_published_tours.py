"""Published tours (TSPLIB, Reinelt 1991): closed optima 426, 7542, 675, 21282 and 44303 are the published ones.

The coordinates of the first four were written down from memory; that the published optimum comes out, proved, says that they are
right. Those of pr107 (Padberg and Rinaldi) are from the file tests/data/pr107.tsp in the source archive of PyVRP 0.14.1 (MIT). The
optima of open ways from the first city (411, 7302, 651, 20737) were computed and proved by two other programs.

Not checked, because no package that can be installed ships their coordinates: rd100, lin105, eil101, kroA200, a280. In their place
stands pr107, and, for more cities, a comparison with PyVRP in `test_beside_pyvrp.py`. (d493 is in Debian's r-cran-tsp; it is larger
than anything planned here.)
"""

from __future__ import annotations

import numpy as np
import pytest

from probe.planning.bound import proved
from probe.planning.search import NEVER_MM, Network, TourSearch, first_order
from tests.planning.networks import Array
from tests.support.examples import first_now

EIL51 = """37 52 49 49 52 64 20 26 40 30 21 47 17 63 31 62 52 33 51 21 42 41 31 32 5 25 12 42 36 16 52 41 27 23 17 33 13 13
57 58 62 42 42 57 16 57 8 52 7 38 27 68 30 48 43 67 58 48 58 27 37 69 38 46 46 10 61 33 62 63 63 69 32 22 45 35 59 15 5 6
10 17 21 10 5 64 30 15 39 10 32 39 25 32 25 55 48 28 56 37 30 40"""
BERLIN52 = """565 575 25 185 345 750 945 685 845 655 880 660 25 230 525 1000 580 1175 650 1130 1605 620 1220 580 1465 200
1530 5 845 680 725 370 145 665 415 635 510 875 560 365 300 465 520 585 480 415 835 625 975 580 1215 245 1320 315 1250 400
660 180 410 250 420 555 575 665 1150 1160 700 580 685 595 685 610 770 610 795 645 720 635 760 650 475 960 95 260 875 920
700 500 555 815 830 485 1170 65 830 610 605 625 595 360 1340 725 1740 245"""
ST70 = """64 96 80 39 69 23 72 42 48 67 58 43 81 34 79 17 30 23 42 67 7 76 29 51 78 92 64 8 95 57 57 91 40 35 68 40 92 34
62 1 28 43 76 73 67 88 93 54 6 8 87 18 30 9 77 13 78 94 55 3 82 88 73 28 20 55 27 43 95 86 67 99 48 83 75 81 8 19 20 18
54 38 63 36 44 33 52 18 12 13 25 5 58 85 5 67 90 9 41 76 25 76 37 64 56 63 10 55 98 7 16 74 89 60 48 82 81 76 29 60 17 22
5 45 79 70 9 100 17 82 74 67 10 68 48 19 83 86 84 94"""
KROA100 = """1380 939 2848 96 3510 1671 457 334 3888 666 984 965 2721 1482 1286 525 2716 1432 738 1325 1251 1832 2728 1698
3815 169 3683 1533 1247 1945 123 862 1234 1946 252 1240 611 673 2576 1676 928 1700 53 857 1807 1711 274 1420 2574 946 178 24
2678 1825 1795 962 3384 1498 3520 1079 1256 61 1424 1728 3913 192 3085 1528 2573 1969 463 1670 3875 598 298 1513 3479 821
2542 236 3955 1743 1323 280 3447 1830 2936 337 1621 1830 3373 1646 1393 1368 3874 1318 938 955 3022 474 2482 1183 3854 923
376 825 2519 135 2945 1622 953 268 2628 1479 2097 981 890 1846 2139 1806 2421 1007 2290 1810 1115 1052 2588 302 327 265
241 341 1917 687 2991 792 2573 599 19 674 3911 1673 872 1559 2863 558 929 1766 839 620 3893 102 2178 1619 3822 899 378 1048
1178 100 2599 901 3416 143 2961 1605 611 1384 3113 885 2597 1830 2586 1286 161 906 1429 134 742 1025 1625 1651 1187 706
1787 1009 22 987 3640 43 3756 882 776 392 1724 1642 198 1810 3950 1558"""
PR107 = """8375 4700 8775 4700 8375 4900 8175 4900 8775 4900 8575 4900 8775 5400 8375 5450 8775 5600 8575 5600 8375 5650 8175
5650 8375 6200 8775 6200 8375 6400 8175 6400 8775 6400 8575 6400 8375 7000 8775 7000 8375 7200 8175 7200 8775 7200
8575 7200 8375 7800 8775 7800 8375 8000 8175 8000 8775 8000 8575 8000 8375 8700 8775 8700 8375 8900 8175 8900 8775
8900 8575 8900 8375 9600 8775 9600 8375 9800 8175 9800 8775 9800 8575 9800 8375 10500 8775 10450 8375 10700 8175
10700 8775 10650 8575 10650 8375 11300 8775 11300 8375 11500 8175 11500 8775 11500 8575 11500 15825 11500 15825 10700
15825 9800 15825 8900 15825 8000 15825 7200 15825 6400 15825 5650 15825 4900 16025 4700 16425 4700 16025 4900 16225
4900 16425 4900 16425 5400 16025 5450 16225 5600 16425 5600 16025 5650 16025 6200 16425 6200 16025 6400 16225 6400
16425 6400 16025 7000 16425 7000 16025 7200 16225 7200 16425 7200 16025 7800 16425 7800 16025 8000 16225 8000 16425
8000 16025 8700 16425 8700 16025 8900 16225 8900 16425 8900 16025 9600 16425 9600 16025 9800 16225 9800 16425 9800
16025 10500 16425 10450 16025 10700 16225 10650 16425 10650 16025 11300 16425 11300 16025 11500 16225 11500"""
PUBLISHED = {
    "berlin52": (BERLIN52, 7542, 7302),
    "eil51": (EIL51, 426, 411),
    "st70": (ST70, 675, 651),
    "kroA100": (KROA100, 21282, 20737),
    "pr107": (PR107, 44303, None),
}
_HOME = 100_000.0


def distances(text: str) -> Array:
    """Distances rounded to whole numbers, as TSPLIB's EUC_2D."""
    points = np.array(text.split(), dtype=float).reshape(-1, 2)
    return np.asarray(np.rint(np.hypot(*(points[:, None] - points[None, :]).transpose(2, 0, 1))))


def closed(length: Array) -> Network:
    """A tour as a way that ends at a second copy of the first city: a tie there costs so much that it has one only."""
    count = len(length)
    between = np.zeros((count, count))
    between[:-1, :-1] = length[1:, 1:]
    between[-1, :-1] = between[:-1, -1] = length[0, 1:] + _HOME
    enter = np.append(length[0, 1:], NEVER_MM)[None, :]
    return Network(between, enter, count)


@pytest.mark.parametrize("name", first_now(PUBLISHED))
def test_the_published_tour_is_found_and_proved(name: str) -> None:
    text, tour, _ = PUBLISHED[name]
    network = closed(distances(text))
    search = TourSearch(network, first_order(network))
    search.improve(1_500)
    proof = proved(network, search.order, rounds=1_500)
    assert proof.proved
    assert proof.cost_mm - _HOME == pytest.approx(tour, abs=1e-3)


@pytest.mark.parametrize("name", first_now({name: of for name, of in PUBLISHED.items() if of[2] is not None}))
def test_the_open_way_from_the_first_city_is_proved(name: str) -> None:
    text, _, way = PUBLISHED[name]
    length = distances(text)
    network = Network(length[1:, 1:], length[:1, 1:], len(length) - 1)
    search = TourSearch(network, first_order(network))
    search.improve(1_500)
    proof = proved(network, search.order, rounds=1_500)
    assert proof.proved
    assert proof.cost_mm == pytest.approx(way, abs=1e-3)
