"""The worked conversation of SPEC.md, played to the compiled boards: the page is what they say."""

from __future__ import annotations

import re

import pytest

from device_protocol.framing import crc16
from tests.firmware import build
from tests.firmware.adapters import AvrUnderTest, HostUnderTest
from tests.firmware.build import ROOT
from tests.firmware.host_board import HostBoard
from tests.firmware.simulated_avr import SimulatedAvr
from tests.protocol.conversation import BoardUnderTest

CONFIG = {"PP_BOARD_NAME": "'\"example\"'", "PP_OUTPUTS": 2, "PP_PIXELS": 300, "PP_CEILING_MA": 1500}
EXCHANGE_MS = 12
"""Board's time from one order to the next on the page; only `uptime` shows it."""


def page() -> list[tuple[str, str]]:
    """Lines of section 10: H, B or --, and what follows."""
    text = (ROOT / "device_protocol" / "SPEC.md").read_text(encoding="utf-8")
    found = re.search(r"^## 10\. .*?(?=^## )", text, re.MULTILINE | re.DOTALL)
    assert found is not None
    lines = [line[4:] for line in found[0].split("### ")[0].splitlines() if line.startswith("    ")]
    assert len(lines) > 40
    return [(line[:2].strip(), line[3:].strip()) for line in lines]


def without_uptime(line: bytes) -> bytes:
    """The line with its uptime blanked and its CRC, once checked, taken off."""
    assert crc16(line[:-5]) == int(line[-4:], 16)
    return re.sub(rb"uptime=\d+", b"uptime=_", line[:-5])


def play(board: BoardUnderTest, *, exact: bool) -> None:
    """Play the page; `exact` compares every byte, else the uptime may differ."""
    for kind, text in page():
        if kind == "B":
            line = board.receive_line(400)
            assert line is not None, f"the board says nothing where the page has {text!r}"
            expected = text.encode()
            assert (line == expected) if exact else (without_uptime(line) == without_uptime(expected))
        elif kind == "H":
            if exact:
                board.advance(EXCHANGE_MS)
            board.send(text.replace("\\t", "\t").encode() + b"\n")
        elif passed := re.match(r"(\d+) ms pass", text):
            board.advance(float(passed[1]))
        elif "step button" in text:
            board.press()
    assert board.receive_line(5) is None


def test_on_the_host_program() -> None:
    with HostBoard(build.build_host(CONFIG)) as board:
        play(HostUnderTest(board), exact=True)


@pytest.mark.slow
def test_on_the_simulated_avr() -> None:
    with SimulatedAvr(build.build_avr(CONFIG), paused=True, outputs=2) as chip:
        play(AvrUnderTest(chip), exact=False)
