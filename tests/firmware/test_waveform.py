"""What leaves the data pin: bytes and times, from the edges of the simulated chip."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import pytest

from tests.firmware import build
from tests.firmware.orders import lone_pixel, order, read_answer
from tests.firmware.simulated_avr import CYCLE_NS, SimulatedAvr

# High and low times in ns: (least, most).
WS2812B = {"t0h": (250, 550), "t1h": (650, 950), "t0l": (700, 1000), "t1l": (300, 600)}
"""Worldsemi WS2812B data sheet, p. 3: T0H 400, T1H 800, T0L 850, T1L 450, each +-150 ns; TH+TL 1,250 +-600 ns; reset
above 50 us."""
WS2812B_V5 = {"t0h": (220, 380), "t1h": (580, 1000), "t0l": (580, 1000), "t1l": (580, 1000)}
"""Worldsemi WS2812B Ver. V5 data sheet, p. 2-4; reset 280 us and more."""
PERIOD = (650, 1850)  # WS2812B, TH+TL
RESET_US = 280  # V5, the longer of the two
LOW_LIMIT_NS = 5000  # SPEC 4.8


def ask(chip: SimulatedAvr, seq: int, text: str) -> tuple[str, ...]:
    """Fields of the good reply to an order."""
    chip.feed(order(seq, text))
    line = chip.receive_line(500)
    assert line is not None
    answer = read_answer(line)
    assert answer.good, line
    return answer.fields[1:]


def edges_of(path: Path) -> list[tuple[int, int]]:
    """Cycle and level of every edge recorded."""
    return [(cycle, mark & 1) for cycle, mark in struct.iter_unpack("<QQ", path.read_bytes())]


def decode(edges: Iterable[tuple[int, int]]) -> list[bytes]:
    """Frames as pixels take them: a pulse of 500 ns and more is a 1, 50 us of low end a frame."""
    frames: list[list[int]] = [[]]
    rose = fell = None
    for cycle, level in edges:
        if level:
            if fell is not None and (cycle - fell) * CYCLE_NS >= 50_000:
                frames.append([])
            rose = cycle
        elif rose is not None:
            frames[-1].append(int((cycle - rose) * CYCLE_NS >= 500))
            fell = cycle
    for bits in frames:
        assert len(bits) % 8 == 0
    return [bytes(int("".join(map(str, bits[at : at + 8])), 2) for at in range(0, len(bits), 8)) for bits in frames]


def test_edges_decode_to_the_picture(chip: SimulatedAvr, tmp_path: Path) -> None:
    ask(chip, 1, "setup 0 5 GRB 300 2000")
    recorded = tmp_path / "edges"
    chip.record_edges(recorded)
    ask(chip, 2, "light 0 3 010203")
    ask(chip, 3, "range 0 1 2 FF00AA")
    ask(chip, 4, "palette 0 1 800000 008000 000080 FFFFFF")
    ask(chip, 5, "paint 0 0 bcdea")
    ask(chip, 6, "show 0")
    ask(chip, 7, "setup 0 2 WRGB 300 2000")
    ask(chip, 8, "light 0 1 01020304")
    chip.run(1)
    chip.record_edges(None)
    dark = bytes(3)
    picture = bytes.fromhex("008000 800000 000080 FFFFFF 000000")
    assert decode(edges_of(recorded)) == [
        lone_pixel(5, 3, bytes([2, 1, 3])),  # R, G, B = 1, 2, 3 goes out as G, R, B
        dark + b"\x00\xff\xaa" * 2 + dark * 2,
        picture,
        dark * 5,
        bytes(4) + bytes([4, 1, 2, 3]),
    ]
    assert chip.frame(0).data == bytes(4) + bytes([4, 1, 2, 3])  # the harness decodes alike


@pytest.fixture
def busy_chip(chip: SimulatedAvr) -> SimulatedAvr:
    """A chip that has shown every kind of frame, with bytes coming in all the while, and its times recorded."""
    ask(chip, 1, "setup 0 300 GRB 280 2000")
    ask(chip, 2, "palette 0 1 080402 010204 FF0000 0055AA")
    ask(chip, 3, "paint 0 0 bcdec100e43b100a50bcd")
    chip.run(1)
    chip.clear_timing()
    # Two more orders come while the frame of the first goes out, so that the line is polled between pixels.
    chip.feed(order(4, "show 0") + order(5, "alive") + order(6, "light 0 299 FF55AA"))
    for _ in range(3):
        assert chip.receive_line(500) is not None
    # So many come that the receiving ring overflows in the middle of frames of both kinds.
    chip.feed(order(4, "show 0") + b"x" * 200 + b"\n" + order(5, "light 0 1 102030") + b"x" * 200 + b"\n")
    while chip.receive_line(50) is not None:
        pass
    ask(chip, 7, "setup 0 300 RGBW 280 2000")
    chip.feed(order(8, "light 0 0 00FF0180") + b"\n" * 60)
    assert chip.receive_line(500) is not None
    return chip


def test_times_meet_both_sheets(busy_chip: SimulatedAvr) -> None:
    times = busy_chip.timing(0)
    assert times.t0h is not None
    assert times.t1h is not None
    assert times.t0l is not None
    assert times.t1l is not None
    for seen, name in ((times.t0h, "t0h"), (times.t1h, "t1h"), (times.t0l, "t0l")):
        for sheet in (WS2812B, WS2812B_V5):
            assert sheet[name][0] <= seen[0] <= seen[1] <= sheet[name][1], name
    # The sheets meet for T1L only between 580 and 600 ns, which cycles of 62.5 ns cannot hit: V5 is kept, and of the older
    # sheet the least time and the period. Longer lows than its 600 ns do no harm far below the reset time.
    assert WS2812B_V5["t1l"][0] <= times.t1l[0] <= times.t1l[1] <= WS2812B_V5["t1l"][1]
    assert times.t1l[0] >= WS2812B["t1l"][0]
    for high, low in ((times.t0h, times.t0l), (times.t1h, times.t1l)):
        assert PERIOD[0] <= high[0] + low[0] <= high[1] + low[1] <= PERIOD[1]


def test_times_are_those_stated(busy_chip: SimulatedAvr) -> None:
    times = busy_chip.timing(0)
    assert (times.t0h, times.t0l) == ((312.5, 312.5), (937.5, 937.5))
    assert (times.t1h, times.t1l) == ((687.5, 687.5), (625.0, 625.0))


def test_lows_inside_a_frame_stay_far_below_the_reset(busy_chip: SimulatedAvr) -> None:
    gap = busy_chip.timing(0).gap
    assert gap is not None
    assert gap[0] >= 580
    assert gap[1] < LOW_LIMIT_NS


def test_the_latch_lasts(busy_chip: SimulatedAvr) -> None:
    latch = busy_chip.timing(0).latch
    assert latch is not None
    assert latch[0] >= RESET_US * 1000


@pytest.mark.parametrize("latch_us", [280, 281, 299, 300, 997, 1000])
def test_the_reply_waits_for_the_latch_asked_for(chip: SimulatedAvr, latch_us: int) -> None:
    ask(chip, 1, f"setup 0 4 GRB {latch_us} 2000")
    chip.run(1)
    chip.feed(order(2, "light 0 0 010101"))
    assert chip.receive_line(20) is not None
    us = (chip.status()["line_taken"] - chip.frame(0).end_cycle) / 16
    assert latch_us <= us <= latch_us + 100


def test_pixel_time(chip: SimulatedAvr) -> None:
    """A frame takes 24 bits of 1.25 us a pixel and a little more (SPEC 3.9 lets the host wait 50 us a pixel)."""
    ask(chip, 1, "light 0 0 000000")
    frame = chip.frame(0)
    us = (frame.end_cycle - frame.begin_cycle) / 16
    assert len(frame.data) == 3000
    assert 30_000 <= us <= 35_000


@pytest.mark.slow
def test_several_outputs_have_their_own_pins() -> None:
    elf = build.build_avr({"PP_OUTPUTS": 3, "PP_PIXELS": 60, "PP_AVR_DATA_BIT": 1})
    with SimulatedAvr(elf, paused=True, outputs=3, data_pin="B1") as chip:
        assert chip.receive_line(100) is not None
        for output in range(3):
            assert chip.frame(output).data == bytes(180)
            ask(chip, output, f"setup {output} 4 GRB 300 500")
        frames = [chip.frame(output).frames for output in range(3)]
        ask(chip, 5, "light 1 2 0A0B0C")
        assert chip.frame(1).data == lone_pixel(4, 2, b"\x0b\x0a\x0c")
        assert [chip.frame(output).frames - frames[output] for output in range(3)] == [0, 1, 0]
        ask(chip, 6, "light 2 0 010101")
        ask(chip, 7, "dark all")
        assert [chip.frame(output).data for output in range(3)] == [bytes(12)] * 3


def test_edges_pair_up(chip: SimulatedAvr, tmp_path: Path) -> None:
    recorded = tmp_path / "edges"
    chip.record_edges(recorded)
    ask(chip, 1, "light 0 999 FFFFFF")
    chip.run(1)
    chip.record_edges(None)
    edges = edges_of(recorded)
    assert len(edges) == 2 * 24 * 1000
    assert all(first[1] != second[1] and first[0] < second[0] for first, second in pairwise(edges))
    assert decode(edges) == [lone_pixel(1000, 999, b"\xff\xff\xff")]
