"""The same walk over a wire with each kind of fault: every answer right, and what is reported lit is what is lit."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.orders import LightPixel, SetupOutput
from device_protocol.values import Colour
from probe.link import BoardLink, LinkLost, Lost, RetryPolicy
from probe.link.faulty import FaultProfile, Faults
from probe.link.wire import Inbox
from tests.link.conftest import until
from tests.link.recorder import Recorder, board, places_lit, port

SOUND = FaultProfile()
PROFILES = {
    "one byte at a time": FaultProfile(one_byte_at_a_time=True),
    "lost bytes": FaultProfile(lost_byte_rate=3e-3),
    "flipped bits": FaultProfile(flipped_bit_rate=1e-3),
    "duplicated lines": FaultProfile(duplicated_line_rate=0.5),
    "silences": FaultProfile(silence_every_lines=15, silence_s=2.0),
    "held back": FaultProfile(silence_every_lines=15, silence_s=0.7, silence_holds_back=True),
    "unplugged": FaultProfile(unplug_every_lines=12, replug_after_s=0.1),
    "everything": FaultProfile(
        one_byte_at_a_time=True,
        lost_byte_rate=1e-3,
        flipped_bit_rate=3e-4,
        duplicated_line_rate=0.1,
        silence_every_lines=25,
        silence_s=0.4,
        unplug_every_lines=40,
        replug_after_s=0.1,
    ),
}
PIXELS = 30


@pytest.mark.slow
@pytest.mark.usefixtures("nothing_is_left")
@pytest.mark.parametrize("name", PROFILES)
async def test_walk(name: str) -> None:
    told, wired = Recorder(), board(pixels=PIXELS)
    where = port(wired, faults=PROFILES[name], seed=7)
    async with BoardLink(where.open, on_event=told, retry=RetryPolicy(first_s=0.02, most_s=0.1)) as link:
        await until(lambda: link.identity, within_s=20)
        for pixel in range(PIXELS):
            for _ in range(20):
                try:
                    await link.do(LightPixel(0, pixel, Colour(32, 0, 0)))
                except LinkLost:
                    await until(lambda: link.identity, within_s=20)
                else:
                    break
            else:
                pytest.fail("the pixel could not be lit")
            assert places_lit(wired) == [f"0.{pixel}"]
            assert wired.shown(0)[pixel] == Colour(32, 0, 0)
    assert where.faults is not None
    if name != "one byte at a time":
        assert where.faults.count > 0, "the profile made no fault at all"
    if name in ("unplugged", "silences"):
        assert told.of(Lost)


@pytest.mark.slow
@pytest.mark.usefixtures("nothing_is_left")
async def test_settings_are_answered_rightly_over_flipped_bits() -> None:
    told, wired = Recorder(), board(pixels=200)
    where = port(wired, faults=PROFILES["flipped bits"], seed=3)
    async with BoardLink(where.open, on_event=told, retry=RetryPolicy(first_s=0.02)) as link:
        await until(lambda: link.identity, within_s=20)
        for count in range(1, 200, 17):
            settings = await link.do(SetupOutput(output=0, count=count, byte_order="GRB", ceiling_ma=count + 100))
            assert (settings.count, settings.ceiling_ma) == (count, count + 100)
            assert wired.outputs[0].count == count


@given(st.binary(max_size=300), st.integers(0, 9), st.lists(st.integers(1, 40), max_size=20))
def test_the_same_seed_spoils_the_same_bytes_however_they_are_cut(data: bytes, seed: int, cuts: list[int]) -> None:
    profile = replace(PROFILES["everything"], silence_every_lines=0)
    whole = Faults(profile, seed=seed).spoil("in", data)
    faults, rest, pieces = Faults(profile, seed=seed), data, b""
    for cut in cuts:
        pieces += faults.spoil("in", rest[:cut])
        rest = rest[cut:]
    assert pieces + faults.spoil("in", rest) == whole
    assert Faults(SOUND, seed=seed).spoil("in", data) == data


@given(st.lists(st.binary(min_size=1, max_size=5)))
async def test_no_byte_is_lost_between_arrival_and_a_reader_that_is_cancelled(chunks: list[bytes]) -> None:
    inbox, read = Inbox(), b""
    for chunk in chunks:
        waiting = asyncio.create_task(inbox.get())
        await asyncio.sleep(0)
        waiting.cancel()
        inbox.put(chunk)
        await asyncio.wait([waiting])
        read += b"" if waiting.cancelled() else waiting.result()
    inbox.put(b"end")
    read += (await inbox.get()).removesuffix(b"end")
    assert read == b"".join(chunks)
