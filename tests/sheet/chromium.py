"""Runs a real browser without a screen, on its own new profile and with nothing that reaches out."""

from __future__ import annotations

import shutil
import struct
import subprocess
import zlib
from pathlib import Path

from tests.support.tools import require


def need(tool: str) -> str:
    """The path of a tool. Raises MissingToolError."""
    require(tool)
    return shutil.which(tool) or tool


def chromium(folder: Path, *arguments: str) -> str:
    """Run it once; returns what it said on its error stream."""
    command = [
        need("chromium"),
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        f"--user-data-dir={folder / 'profile'}",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-default-apps",
        "--disable-domain-reliability",
        "--disable-sync",
        "--disable-extensions",
        "--metrics-recording-only",
        "--no-pings",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        "--hide-scrollbars",
        *arguments,
    ]
    done = subprocess.run(command, capture_output=True, timeout=120, check=False)
    return done.stderr.decode("utf-8", "replace")


def to_pdf(page: Path, folder: Path) -> Path:
    """The page as it would be printed."""
    made = folder / "sheet.pdf"
    said = chromium(folder, "--no-pdf-header-footer", f"--print-to-pdf={made}", page.as_uri())
    assert made.exists(), said
    return made


def to_png(page: Path, folder: Path, *, width: int = 800, height: int = 1_100) -> Path:
    """The page as it would be seen."""
    made = folder / "sheet.png"
    said = chromium(folder, f"--window-size={width},{height}", f"--screenshot={made}", page.as_uri())
    assert made.exists(), said
    return made


def dom(page: Path, folder: Path) -> str:
    """The page's own tree after loading, as text."""
    command = [need("chromium"), "--headless", "--no-sandbox", "--disable-gpu"]
    command += [f"--user-data-dir={folder / 'profile'}", "--no-first-run", "--disable-background-networking"]
    command += ["--host-resolver-rules=MAP * ~NOTFOUND", "--dump-dom", page.as_uri()]
    return subprocess.run(command, capture_output=True, timeout=120, check=True).stdout.decode("utf-8")


def pixels(png: Path) -> tuple[int, int, list[bytes]]:
    """Width, height and the rows of an 8-bit RGB or RGBA picture, as bytes of red, green and blue."""
    data = png.read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, packed = 8, b""
    width = height = channels = 0
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        if kind == b"IHDR":
            width, height, depth, colour = struct.unpack(">IIBB", body[:10])
            assert depth == 8
            channels = {2: 3, 6: 4}[colour]
        elif kind == b"IDAT":
            packed += body
        at += length + 12
    raw = zlib.decompress(packed)
    stride = width * channels
    rows: list[bytes] = []
    before = bytearray(stride)
    for y in range(height):
        start = y * (stride + 1)
        line = bytearray(raw[start + 1 : start + 1 + stride])
        _unfilter(raw[start], line, before, channels)
        before = line
        rows.append(bytes(v for k, v in enumerate(line) if k % channels < 3) if channels == 4 else bytes(line))
    return width, height, rows


def _unfilter(kind: int, line: bytearray, before: bytearray, channels: int) -> None:
    for k in range(len(line)):
        left = line[k - channels] if k >= channels else 0
        up = before[k]
        corner = before[k - channels] if k >= channels else 0
        if kind == 1:
            add = left
        elif kind == 2:
            add = up
        elif kind == 3:
            add = (left + up) // 2
        elif kind == 4:
            guess = left + up - corner
            near = (abs(guess - left), abs(guess - up), abs(guess - corner))
            add = (left, up, corner)[near.index(min(near))]
        else:
            add = 0
        line[k] = (line[k] + add) & 255
