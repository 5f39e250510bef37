"""CRC of the lines, and what damage it finds."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from functools import reduce
from itertools import combinations
from operator import xor

import pytest
from crccheck.crc import Crc16Ibm3740
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.framing import LineReader, OrderLineFault, crc16, encode_order, parse_order
from device_protocol.orders import LightPixel
from device_protocol.values import Colour
from tests.support.examples import first_now

TYPICAL = encode_order(LightPixel(0, 14, Colour(0x20, 0, 0)).line(1))


def test_check_value() -> None:
    """CRC-16/IBM-3740: check 0x29B1 (catalogue of parametrised CRC algorithms)."""
    assert crc16(b"123456789") == 0x29B1


def test_second_published_value() -> None:
    """CCITT-FALSE of "foofoofoofoo" is 0x074F (Apple's CommonCRC tests)."""
    assert crc16(b"foofoofoofoo") == 0x074F


@given(st.binary(max_size=300))
def test_agrees_with_another_implementation(data: bytes) -> None:
    assert crc16(data) == Crc16Ibm3740.calc(data)


def test_typical_order_is_the_one_meant() -> None:
    body = b">01 light 0 14 200000"
    assert encode_order(LightPixel(0, 14, Colour(0x20, 0, 0)).line(1)) == b"%b*%04X\n" % (body, Crc16Ibm3740.calc(body))


def _accepted(data: bytes) -> list[str]:
    """Orders that a board would take from `data`, an LF after it to end what is left."""
    words = []
    for raw in LineReader(96).feed(data + b"\n"):
        try:
            order = parse_order(raw)
        except OrderLineFault:
            continue
        words.append(" ".join((order.word, *order.arguments)))
    return words


def _flipped(places: tuple[int, ...]) -> bytes:
    data = bytearray(TYPICAL)
    for place in places:
        data[place // 8] ^= 1 << place % 8
    return bytes(data)


@pytest.mark.parametrize("flips", first_now([1, 2]))
def test_every_flip_of_one_or_two_bits_is_found(flips: int) -> None:
    """Through the reader and the parser, the line's end and the CRC digits included."""
    for places in combinations(range(len(TYPICAL) * 8), flips):
        assert _accepted(_flipped(places)) in ([], ["light 0 14 200000"])
        if _accepted(_flipped(places)):
            # only what follows the checksum can change and leave the order as it was: its LF becoming CR LF or the like
            assert all(place // 8 == len(TYPICAL) - 1 for place in places)


@pytest.mark.slow
def test_flips_of_three_bits_are_found_as_sampled() -> None:
    """Through the reader and the parser; 40,000 of 1.5 million with a fixed seed. The tests below are exhaustive."""
    rng = random.Random(16)
    for _ in range(40_000):
        places = tuple(rng.sample(range((len(TYPICAL) - 1) * 8), 3))
        assert _accepted(_flipped(places)) == []


def _body_shifts(body: bytes) -> list[int]:
    """By how much each flipped bit of the body shifts the CRC, which is linear: several shift it by their XOR."""
    clean = crc16(body)
    shifts = []
    for place in range(len(body) * 8):
        data = bytearray(body)
        data[place // 8] ^= 1 << place % 8
        shifts.append(crc16(bytes(data)) ^ clean)
    return shifts


def _xors(shifts: list[int], flips: int) -> Iterator[int]:
    return (reduce(xor, chosen, 0) for chosen in combinations(shifts, flips))


@pytest.mark.slow
def test_as_bits_every_damage_of_up_to_three_bits_shows() -> None:
    """HD = 4 at this length: P. Koopman's CRC tables say so of polynomial 0x11021.

    Here the CRC counts as 16 bits; the test after this one looks at it as the four digits it is on the line.
    """
    shifts = _body_shifts(TYPICAL[:-6]) + [1 << bit for bit in range(16)]
    for flips in (1, 2, 3):
        assert 0 not in _xors(shifts, flips)


def _digit_changes(digits: bytes, flips: int) -> Iterator[int]:
    """How `flips` flipped bits change the number that the four digits stand for, where they still are digits."""
    for places in combinations(range(32), flips):
        data = bytearray(digits)
        for place in places:
            data[place // 8] ^= 1 << place % 8
        if all(byte in b"0123456789ABCDEF" for byte in data):
            yield int(data, 16) ^ int(digits, 16)


@pytest.mark.parametrize("pixel", first_now([14, 15, 99]))
def test_as_digits_nearly_every_damage_of_three_bits_shows(pixel: int) -> None:
    """One flipped bit of a letter A to F can change two bits of the number (A to C): the HD of 4 falls short by a hair.

    No damage of one or two bits goes unseen, and of the 1.5 million of three bits at most two do.
    """
    line = encode_order(LightPixel(0, pixel, Colour(0x20, 0, 0)).line(1))
    shifts, digits = _body_shifts(line[:-6]), line[-5:-1]
    unseen = dict.fromkeys((1, 2, 3), 0)
    for in_digits in range(4):
        changes = Counter(_digit_changes(digits, in_digits))
        for in_body in range(4 - in_digits):
            if in_body + in_digits > 0:
                unseen[in_body + in_digits] += sum(changes[shift] for shift in _xors(shifts, in_body))
    assert unseen[1] == unseen[2] == 0
    assert unseen[3] <= 2
