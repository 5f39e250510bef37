"""Ports listed by name, and found again under another path."""

from __future__ import annotations

from pathlib import Path

import pytest
from serial.tools.list_ports_common import ListPortInfo

from probe.link import Family, current_address, find_device, find_port, list_ports, remembered_key, usb_name
from probe.link import ports as ports_module
from probe.link.ports import PortInfo


def usb(
    device: str,
    vid: int,
    pid: int,
    *,
    serial: str | None = None,
    location: str | None = "1-1",
    product: str | None = None,
) -> ListPortInfo:
    port = ListPortInfo(device, skip_link_detection=True)
    port.vid, port.pid, port.serial_number, port.location, port.product = vid, pid, serial, location, product
    return port


def plain(device: str) -> ListPortInfo:
    return ListPortInfo(device, skip_link_detection=True)


def listed(*raw: ListPortInfo) -> tuple[PortInfo, ...]:
    return list_ports(comports=lambda: raw)


@pytest.mark.parametrize(
    ("vid", "pid", "family", "name"),
    [  # names: usb.ids, 2025.07.26; 2E8A: raspberrypi/usb-pid; 303A: espressif/usb-pids; 55D4: from memory
        (0x2341, 0x0043, Family.BOARD, "Uno R3"),
        (0x2A03, 0x0042, Family.BOARD, "Mega 2560"),
        (0x1A86, 0x7523, Family.CHIP, "CH340"),
        (0x1A86, 0x55D4, Family.CHIP, "CH9102"),
        (0x0403, 0x6001, Family.CHIP, "FT232"),
        (0x10C4, 0xEA60, Family.CHIP, "CP210x"),
        (0x067B, 0x2303, Family.CHIP, "PL2303"),
        (0x16C0, 0x0483, Family.BOARD, "Teensy"),
        (0x303A, 0x1001, Family.BOARD, "ESP32"),
        (0x2E8A, 0x000A, Family.BOARD, "RP2040"),
    ],
)
def test_names_by_usb_numbers(vid: int, pid: int, family: Family, name: str) -> None:
    (port,) = listed(usb("/dev/ttyACM0", vid, pid))
    assert port.family is family
    assert name in port.name
    assert f"{vid:04X}:{pid:04X}" in port.name


@pytest.mark.parametrize("vid", [0x2E8A, 0x16C0, 0x303A, 0x0403, 0x1A86])
def test_a_vendor_number_alone_names_no_board(vid: int) -> None:
    """2E8A, 16C0 and 303A are shared by hundreds of unrelated devices; 0403 and 1A86 are general chips."""
    said = usb_name(vid, 0xFFFE)
    assert said is not None
    assert said[0] is Family.SHARED
    assert usb_name(0xDEAD, 0xBEEF) is None


def test_usb_first_in_natural_order() -> None:
    ports = listed(
        plain("/dev/ttyS0"), usb("/dev/ttyUSB10", 1, 2, location="a"), usb("/dev/ttyUSB9", 1, 2, location="b")
    )
    assert [p.device for p in ports] == ["/dev/ttyUSB9", "/dev/ttyUSB10", "/dev/ttyS0"]


def test_a_device_with_a_serial_number_is_found_under_another_path() -> None:
    key = remembered_key("/dev/ttyUSB0", listed(usb("/dev/ttyUSB0", 0x0403, 0x6001, serial="A50285BI")))
    later = listed(
        usb("/dev/ttyUSB0", 0x1A86, 0x7523, location="1-9"),
        usb("/dev/ttyUSB1", 0x0403, 0x6001, serial="A50285BI", location="3-2"),
    )
    assert current_address(key, later) == "/dev/ttyUSB1"
    assert current_address(key, listed(plain("/dev/ttyS0"))) is None


def test_without_a_serial_number_the_socket_counts() -> None:
    key = remembered_key("/dev/ttyUSB0", listed(usb("/dev/ttyUSB0", 0x1A86, 0x7523, location="1-4")))
    assert current_address(key, listed(usb("/dev/ttyUSB3", 0x1A86, 0x7523, location="1-4"))) == "/dev/ttyUSB3"
    elsewhere = listed(usb("/dev/ttyUSB0", 0x1A86, 0x7523, location="1-5"))
    assert current_address(key, elsewhere) is None, "another device of the same make must not be opened unasked"


def test_two_devices_with_one_serial_number_stay_apart() -> None:
    both = listed(
        usb("/dev/ttyUSB0", 0x10C4, 0xEA60, serial="0001", location="1-1"),
        usb("/dev/ttyUSB1", 0x10C4, 0xEA60, serial="0001", location="1-2"),
    )
    assert len({p.key for p in both}) == 2
    assert [find_port(p.key, both) for p in both] == list(both)
    alone = listed(usb("/dev/ttyUSB7", 0x10C4, 0xEA60, serial="0001", location="2-1"))
    assert find_port(both[0].key, alone) == alone[0], "the only one with this number"
    assert find_port(alone[0].key, both) is None, "two could be meant: a person has to pick"


def test_urls_and_unlisted_ports_are_their_own_key() -> None:
    assert remembered_key("socket://shed:4000", ()) == "socket://shed:4000"
    assert current_address("socket://shed:4000", ()) == "socket://shed:4000"
    assert current_address(remembered_key("/dev/pts/7", ()), ()) == "/dev/pts/7"


def test_links_to_a_device_are_followed(tmp_path: Path) -> None:
    real = tmp_path / "ttyUSB4"
    real.touch()
    link = tmp_path / "usb-board-by-id"
    link.symlink_to(real)
    ports = listed(usb(str(real), 0x2341, 0x0043, serial="75735"))
    assert find_device(str(link), ports) == ports[0]
    assert remembered_key(str(link), ports) == "usb:2341:0043:75735"


def test_what_a_device_says_of_itself_cannot_steer_the_terminal() -> None:
    (port,) = listed(usb("/dev/ttyUSB0", 1, 2, serial="a\x1b[2Jb@c", product="nice\r\n\x1b]0;x\x07 [/x] board"))
    assert port.name.isprintable()
    assert port.key.isprintable()
    assert "[/x]" in port.name
    assert find_port(port.key, (port,)) == port


def test_listing_opens_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr("serial.Serial.open", lambda self: opened.append(self.port))
    list_ports()
    assert not opened
    assert ports_module.list_ports(comports=list) == ()
