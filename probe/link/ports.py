"""Serial ports by names a person can tell apart, and keys that stay when the device path changes. Opens no port."""

from __future__ import annotations

import os
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any
from urllib.parse import parse_qs, urlsplit

SCHEMES = ("socket", "rfc2217", "loop", "simulated", "replay")
"""What an address may begin with, before `://`; without that it is the name of a device.

The serial package knows more, which write files (`spy`) or open what nobody named (`hwgrep`): an address may come from
a settings file that somebody else wrote.
"""


class Family(StrEnum):
    """How much the USB numbers say. None of them is reason enough to open a port unasked."""

    BOARD = "board"
    """A board family by vendor and product number."""
    CHIP = "chip"
    """A general serial chip: behind it may be anything."""
    SHARED = "shared"
    """A vendor number that hundreds of unrelated devices share."""
    OTHER_USB = "usb"
    NOT_USB = "not-usb"


# Vendor and product numbers: usb.ids, 2025.07.26. Those marked (a) Arduino boards.txt, (b) raspberrypi/usb-pid,
# (c) espressif/usb-pids, (m) from memory.
_KNOWN: dict[tuple[int, int], tuple[Family, str]] = {
    (0x0403, 0x6001): (Family.CHIP, "FT232 serial chip"),
    (0x0403, 0x6010): (Family.CHIP, "FT2232 serial chip"),
    (0x0403, 0x6014): (Family.CHIP, "FT232H serial chip"),
    (0x0403, 0x6015): (Family.CHIP, "FT230X serial chip"),
    (0x10C4, 0xEA60): (Family.CHIP, "CP210x serial chip"),
    (0x10C4, 0xEA70): (Family.CHIP, "CP2105 serial chip"),
    (0x1A86, 0x7523): (Family.CHIP, "CH340 serial chip"),
    (0x1A86, 0x7522): (Family.CHIP, "CH340 serial chip"),
    (0x1A86, 0x5523): (Family.CHIP, "CH341 serial chip"),
    (0x1A86, 0x55D3): (Family.CHIP, "CH343 serial chip"),  # (m)
    (0x1A86, 0x55D4): (Family.CHIP, "CH9102 serial chip"),  # (m)
    (0x067B, 0x2303): (Family.CHIP, "PL2303 serial chip"),
    (0x2341, 0x0043): (Family.BOARD, "Uno R3 board"),
    (0x2341, 0x0001): (Family.BOARD, "Uno board"),
    (0x2341, 0x0243): (Family.BOARD, "Uno board"),  # (a)
    (0x2341, 0x0042): (Family.BOARD, "Mega 2560 R3 board"),
    (0x2341, 0x0010): (Family.BOARD, "Mega 2560 board"),
    (0x2341, 0x8036): (Family.BOARD, "Leonardo board"),
    (0x2A03, 0x0043): (Family.BOARD, "Uno R3 board"),
    (0x2A03, 0x0042): (Family.BOARD, "Mega 2560 board"),
    (0x16C0, 0x0483): (Family.BOARD, "Teensy board"),
    (0x16C0, 0x0487): (Family.BOARD, "Teensy board (serial and HID)"),
    (0x2E8A, 0x0005): (Family.BOARD, "RP2040 board with MicroPython"),  # (b)
    (0x2E8A, 0x0009): (Family.BOARD, "RP2 board"),  # (b)
    (0x2E8A, 0x000A): (Family.BOARD, "RP2040 board"),  # (b)
    (0x2E8A, 0x000C): (Family.BOARD, "RP2 debug probe"),  # (b)
    (0x303A, 0x1001): (Family.BOARD, "ESP32 board (own USB)"),  # (c)
}
_SHARED_VENDORS: dict[int, str] = {
    0x2E8A: "RP2 family device",
    0x16C0: "device with a shared vendor number",
    0x303A: "ESP32 family device",
    0x239A: "microcontroller board",
    0x0403: "FTDI device",
    0x1A86: "CH34x device",
}


@dataclass(frozen=True, slots=True)
class PortInfo:
    """One port as the system lists it. Texts come from the device: printable, but never markup.

    `key` stays the same when the device path changes (another socket, another order of plugging in), as far as the
    device has a serial number of its own; else it holds the USB location and stays as long as the same socket is used.
    """

    device: str
    key: str
    name: str
    family: Family
    vid: int | None = None
    pid: int | None = None
    serial_number: str | None = None
    location: str | None = None
    manufacturer: str | None = None
    product: str | None = None


def list_ports(*, comports: Callable[[], Iterable[Any]] | None = None) -> tuple[PortInfo, ...]:
    """All ports of this computer, USB first, in natural order. No port is opened.

    `comports` replaces the system's list.

    Devices that share one serial number (two interfaces of one chip, or careless makers) get their location into the
    key, so that no two keys are equal.
    """
    if comports is None:
        from serial.tools import list_ports as system  # the demo needs no port

        comports = system.comports
    infos = [_info(raw) for raw in comports()]
    repeated = {key for key, times in Counter(i.key for i in infos).items() if times > 1}
    infos = [replace(i, key=f"{i.key}@{i.location or i.device}") if i.key in repeated else i for i in infos]
    return tuple(sorted(infos, key=lambda i: (i.family is Family.NOT_USB, _natural(i.device))))


def find_port(key: str, ports: Iterable[PortInfo] | None = None) -> PortInfo | None:
    """The port with this key now, or None. Where two could be meant, None: a person has to pick."""
    ports = list_ports() if ports is None else tuple(ports)
    for port in ports:
        if port.key == key:
            return port
    alike = [p for p in ports if _without_location(p) == _base(key)] if key.startswith("usb:") else []
    return alike[0] if len(alike) == 1 else None


def address_fault(address: str) -> str | None:
    """Why no port may be opened by this address, as a phrase; None if one may be."""
    if any(unicodedata.category(character) in ("Cc", "Cs") for character in address):
        return "it holds a character that no name of a port has"
    if "://" not in address:
        return None
    scheme = address.partition("://")[0].lower()
    if scheme not in SCHEMES:
        return f"{scheme}:// is not used here, only a device or {', '.join(f'{known}://' for known in SCHEMES)}"
    if scheme != "replay":
        try:
            options = parse_qs(urlsplit(address).query, keep_blank_values=True)
        except ValueError:
            return "it is not written as an address is"
        if "logging" in options:  # the serial package would write over the screen
            return "the option logging is not used here: --transcript FILE writes down what goes over the line"
    return None


def find_device(device: str, ports: Iterable[PortInfo] | None = None) -> PortInfo | None:
    """The listed port behind a device path; links such as those in /dev/serial/by-id are followed."""
    if address_fault(device) is not None:
        return None
    real = os.path.realpath(device) if os.path.sep in device else device
    for port in list_ports() if ports is None else ports:
        if port.device in (device, real):
            return port
    return None


def remembered_key(address: str, ports: Iterable[PortInfo] | None = None) -> str:
    """The key to remember for a device path or URL that a person gave. A URL, and a port not listed, is its own key."""
    if "://" in address:
        return address
    port = find_device(address, ports)
    return port.key if port is not None else f"path:{address}"


def current_address(key: str, ports: Iterable[PortInfo] | None = None) -> str | None:
    """Device path or URL to open now for a remembered key; None while that device is not plugged in."""
    if "://" in key:
        return key
    if key.startswith("path:"):
        return key.removeprefix("path:")
    port = find_port(key, ports)
    return port.device if port is not None else None


def usb_name(vid: int, pid: int) -> tuple[Family, str] | None:
    """What the USB numbers say, or None if they say nothing to us."""
    if (vid, pid) in _KNOWN:
        return _KNOWN[vid, pid]
    if vid in _SHARED_VENDORS:
        return Family.SHARED, _SHARED_VENDORS[vid]
    return None


def _info(raw: Any) -> PortInfo:
    device = str(raw.device)
    vid, pid = raw.vid, raw.pid
    serial_number, location = _printable(raw.serial_number), _printable(raw.location)
    manufacturer, product = _printable(raw.manufacturer), _printable(raw.product)
    if vid is None or pid is None:
        described = _printable(raw.description)
        name = described if described and described != "n/a" else "serial port"
        return PortInfo(device=device, key=f"path:{device}", name=name, family=Family.NOT_USB)
    numbers = f"{vid:04X}:{pid:04X}"
    family, chip = usb_name(vid, pid) or (Family.OTHER_USB, "USB device")
    name = f"{chip} ({numbers})" if product is None else f"{chip} ({numbers}), calls itself {product}"
    own = serial_number.replace("@", "_") if serial_number else None  # "@" parts the location from the rest
    key = f"usb:{numbers}:{own}" if own else f"usb:{numbers}@{location or device}"
    return PortInfo(
        device=device,
        key=key,
        name=name,
        family=family,
        vid=vid,
        pid=pid,
        serial_number=serial_number,
        location=location,
        manufacturer=manufacturer,
        product=product,
    )


def _printable(text: str | None) -> str | None:
    if text is None:
        return None
    clean = "".join(c for c in text if c.isprintable()).strip()[:80]
    return clean or None


def _base(key: str) -> str:
    return key.split("@", 1)[0]


def _without_location(port: PortInfo) -> str | None:
    return _base(port.key) if port.serial_number else None


def _natural(device: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", device) if part]
