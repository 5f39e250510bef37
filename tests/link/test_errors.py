"""Every family of failure becomes one of our errors, with a cause and a cure."""

from __future__ import annotations

import errno
import grp
import os
import pwd
import socket
import termios
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial

from probe.link import LinkError, LinkErrorKind, LinkLost
from probe.link.errors import HANG_UP_FAMILIES, fold, link_error


def wrapped(inner: BaseException, outer: BaseException) -> BaseException:
    """As pyserial does it: the system's error is the context of its own."""
    outer.__context__ = inner
    return outer


@pytest.mark.parametrize(
    ("exc", "kind"),
    [
        (serial.SerialException(errno.EBUSY, "could not open port"), LinkErrorKind.BUSY),
        (serial.SerialException(errno.EAGAIN, "Could not exclusively lock port"), LinkErrorKind.BUSY),
        (serial.SerialException(errno.EACCES, "could not open port"), LinkErrorKind.FORBIDDEN),
        (serial.SerialException(errno.ENOENT, "could not open port"), LinkErrorKind.NO_SUCH_PORT),
        (serial.SerialException("Could not configure port: (5, 'Input/output error')"), LinkErrorKind.NO_SUCH_PORT),
        (serial.SerialException("Could not configure port: (25, 'Inappropriate')"), LinkErrorKind.BAD_ADDRESS),
        (termios.error(25, "Inappropriate ioctl for device"), LinkErrorKind.BAD_ADDRESS),
        (termios.error(5, "Input/output error"), LinkErrorKind.NO_SUCH_PORT),
        (OSError(errno.ENXIO, "No such device"), LinkErrorKind.NO_SUCH_PORT),
        (ValueError("Invalid baud rate: -3"), LinkErrorKind.BAD_ADDRESS),
        (ValueError("invalid URL, protocol 'x' not known"), LinkErrorKind.BAD_ADDRESS),
        (
            wrapped(ConnectionRefusedError(errno.ECONNREFUSED, "refused"), serial.SerialException("Could not open")),
            LinkErrorKind.UNREACHABLE,
        ),
        (wrapped(TimeoutError(), serial.SerialException("Could not open port: timed out")), LinkErrorKind.UNREACHABLE),
        (wrapped(socket.gaierror(-2, "unknown"), serial.SerialException("Could not open")), LinkErrorKind.UNREACHABLE),
        (serial.SerialException("Remote does not seem to support RFC2217"), LinkErrorKind.WRONG_DEVICE),
        (serial.SerialException("something new"), LinkErrorKind.FAILED),
    ],
)
def test_opening(exc: BaseException, kind: LinkErrorKind) -> None:
    error = fold(exc, port="/dev/ttyUSB7", opening=True, platform="linux")
    assert error.kind is kind
    assert "/dev/ttyUSB7" in error.what
    assert error.likely_cause
    assert error.cure


@pytest.mark.parametrize(
    "exc",
    [
        serial.SerialException("device reports readiness to read but returned no data"),
        serial.PortNotOpenError(),
        OSError(errno.EIO, "Input/output error"),
        termios.error(5, "Input/output error"),
        TypeError("fd is None"),
    ],
)
def test_any_family_in_use_means_that_the_port_went_away(exc: BaseException) -> None:
    assert isinstance(exc, HANG_UP_FAMILIES)
    assert fold(exc, port="COM4", opening=False).kind is LinkErrorKind.VANISHED


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)", LinkErrorKind.BUSY),
        ("could not open port 'COM9': FileNotFoundError(2, 'No such file', None, 2)", LinkErrorKind.NO_SUCH_PORT),
        ("could not open port 'COM9': OSError(22, 'not functioning', None, 31)", LinkErrorKind.NO_SUCH_PORT),
        ("Cannot configure port: OSError(22, 'The parameter is incorrect.', None, 87)", LinkErrorKind.FAILED),
    ],
)
def test_windows_keeps_the_number_only_in_the_text(text: str, kind: LinkErrorKind) -> None:
    assert fold(serial.SerialException(text), port="COM3", opening=True, platform="win32").kind is kind


class TestForbiddenOnLinux:
    @pytest.fixture
    def node(self, tmp_path: Path) -> str:
        node = tmp_path / "ttyUSB0"
        node.touch()
        return str(node)

    def error(self, node: str) -> LinkError:
        return fold(PermissionError(errno.EACCES, "denied"), port=node, opening=True, platform="linux")

    def patch_group(self, monkeypatch: pytest.MonkeyPatch, *, name: str, members: list[str]) -> None:
        monkeypatch.setattr(grp, "getgrgid", lambda gid: SimpleNamespace(gr_name=name, gr_mem=members))

    def test_names_the_group_of_the_node(self, node: str, monkeypatch: pytest.MonkeyPatch) -> None:
        self.patch_group(monkeypatch, name="uucp", members=[])
        error = self.error(node)
        assert "usermod -aG uucp" in error.cure
        assert "log out" in error.cure

    def test_a_member_has_only_to_log_in_again(self, node: str, monkeypatch: pytest.MonkeyPatch) -> None:
        self.patch_group(monkeypatch, name="dialout", members=[pwd.getpwuid(os.getuid()).pw_name])
        error = self.error(node)
        assert "dialout" in error.likely_cause
        assert error.cure.startswith("log out")

    def test_a_node_of_root_needs_a_rule(self, node: str, monkeypatch: pytest.MonkeyPatch) -> None:
        self.patch_group(monkeypatch, name="root", members=[])
        assert "udev" in self.error(node).cure

    def test_a_node_that_is_gone_still_gives_an_error(self) -> None:
        assert self.error("/nowhere/ttyUSB0").kind is LinkErrorKind.FORBIDDEN

    def test_other_systems_have_other_cures(self) -> None:
        on_mac = fold(PermissionError(errno.EACCES, ""), port="/dev/cu.usb", opening=True, platform="darwin")
        assert "System Settings" in on_mac.cure
        on_windows = fold(PermissionError(errno.EACCES, ""), port="COM3", opening=True, platform="win32")
        assert on_windows.kind is LinkErrorKind.BUSY


def test_every_kind_has_its_texts() -> None:
    for kind in LinkErrorKind:
        error = link_error(kind, port="{port} [/x] %s")
        assert "{port} [/x] %s" in error.what, "a port's name is never taken for a format"
        assert error.likely_cause
        assert error.cure
        assert str(error).count(error.cure) == 1


def test_folding_twice_changes_nothing() -> None:
    error = fold(OSError(errno.EBUSY, ""), port="p", opening=True)
    assert fold(error, port="q", opening=False) is error
    lost = LinkLost.because(error)
    assert isinstance(lost, LinkError)
    assert (lost.kind, lost.what, lost.cure) == (error.kind, error.what, error.cure)
