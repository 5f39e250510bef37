"""Every way in which the line to a board fails, folded into one error with a likely cause and a cure.

Ports fail in three unrelated families: `OSError` (`serial.SerialException` is one), `termios.error` (which is none) and
`ValueError` for an address or a speed that cannot be. Nothing outside this file distinguishes them.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import socket
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from device_protocol.orders import RestartCause

HANG_UP_FAMILIES: tuple[type[BaseException], ...] = (OSError, ValueError, TypeError, NotImplementedError)
"""All families a port may raise; `except HANG_UP_FAMILIES` and hand the exception to `fold`."""
with contextlib.suppress(ImportError):  # Windows has none
    import termios

    HANG_UP_FAMILIES = (*HANG_UP_FAMILIES, termios.error)


class LinkErrorKind(StrEnum):
    """What went wrong, as one word for programs; the texts are for people."""

    BUSY = "busy"
    FORBIDDEN = "forbidden"
    VANISHED = "vanished"
    NO_SUCH_PORT = "no-such-port"
    BAD_ADDRESS = "bad-address"
    UNREACHABLE = "unreachable"
    WRONG_DEVICE = "wrong-device"
    WRONG_SPEED = "wrong-speed"
    OTHER_VERSION = "other-version"
    BEYOND_LIMITS = "beyond-limits"
    UNREADABLE_IDENTITY = "unreadable-identity"
    SILENT = "silent"
    TIMEOUT = "timeout"
    RESTARTED = "restarted"
    CLOSED = "closed"
    FAILED = "failed"


class LinkError(Exception):
    """The line to the board cannot be used.

    `kind` is for programs. `what`, `likely_cause` and `cure` are whole phrases for the person; `port` is the device or
    address as the person gave it. None of them is markup, and `port` may hold any character.
    """

    def __init__(self, kind: LinkErrorKind, *, port: str, what: str, likely_cause: str, cure: str) -> None:
        super().__init__(f"{what}. Likely cause: {likely_cause}. Cure: {cure}.")
        self.kind = kind
        self.port = port
        self.what = what
        self.likely_cause = likely_cause
        self.cure = cure


class LinkLost(LinkError):  # noqa: N818 - what happened, in the words of the events
    """Raised by an order that waits, or is given, while the board is lost. The order may have been carried out."""

    @classmethod
    def because(cls, error: LinkError) -> LinkLost:
        """The same error, as seen by an order that can have no reply any more."""
        return cls(error.kind, port=error.port, what=error.what, likely_cause=error.likely_cause, cure=error.cure)


@dataclass(frozen=True, slots=True)
class _Texts:
    what: str
    cause: str
    cure: str


_TEXTS: dict[LinkErrorKind, _Texts] = {
    LinkErrorKind.BUSY: _Texts(
        "{port} is in use by another program",
        "another window of this program, a serial monitor or a firmware upload has it open"
        " (on Linux a modem manager may hold a port for some seconds after it is plugged in)",
        "close the other program, or wait ten seconds, and try again",
    ),
    LinkErrorKind.FORBIDDEN: _Texts(
        "{port} may not be opened by this user",
        "the system keeps serial ports for certain users",
        "ask the owner of this computer for the right to use the port",
    ),
    LinkErrorKind.VANISHED: _Texts(
        "{port} went away while it was in use",
        "the USB plug was pulled or shaken loose, or the board lost its supply",
        "plug the board in again and mind the cable: it will be found by itself",
    ),
    LinkErrorKind.NO_SUCH_PORT: _Texts(
        "there is no port {port}",
        "the board is not plugged in, is plugged in elsewhere, or the cable carries power only",
        "plug it in with a data cable and look at `playfield-probe ports`",
    ),
    LinkErrorKind.BAD_ADDRESS: _Texts(
        "{port} cannot be used as the address of a board: {detail}",
        "the address or the speed is mistyped",
        "give a port from `playfield-probe ports`, or socket://HOST:PORT or rfc2217://HOST:PORT, and a usual speed such"
        " as 115200",
    ),
    LinkErrorKind.UNREACHABLE: _Texts(
        "nothing answers at {port}",
        "the far computer is off, its serial server is not running, or the network keeps it away",
        "start the server, check host name and port number, then try again",
    ),
    LinkErrorKind.WRONG_DEVICE: _Texts(
        "{port} talks, but it is not a board with the probe protocol: {detail}",
        "this is another device, or the board holds other firmware",
        "pick another port, or load firmware that speaks the probe line protocol",
    ),
    LinkErrorKind.WRONG_SPEED: _Texts(
        "{port} sends bytes that make no sense: {detail}",
        "the board runs at another speed than {baud} baud, or this is another device",
        "look in the board's papers for its speed and give it with --baud (250000 is the usual other one)",
    ),
    LinkErrorKind.OTHER_VERSION: _Texts(
        "the board on {port} speaks another version of the protocol: {detail}",
        "firmware and program are of different ages",
        "load the firmware that came with this program, or update the program",
    ),
    LinkErrorKind.BEYOND_LIMITS: _Texts(
        "the board on {port} states a limit that no board may have: {detail}",
        "its firmware was built with a wrong figure, or its memory is damaged",
        "do not light anything with it: correct the figure in the firmware's settings and load it again, then try"
        " `playfield-probe board-check`",
    ),
    LinkErrorKind.UNREADABLE_IDENTITY: _Texts(
        "the board on {port} speaks this protocol, but does not say who it is in a way that can be used: {detail}",
        "its firmware does not keep to the protocol",
        "load other firmware, or ask its maker to run `playfield-probe board-check`",
    ),
    LinkErrorKind.SILENT: _Texts(
        "{port} is open, but nothing answers",
        "this is another device, the board holds no or other firmware, or it runs at another speed",
        "check that this is the right port, press the board's reset button, then check firmware and speed (--baud)",
    ),
    LinkErrorKind.TIMEOUT: _Texts(
        "the board on {port} stopped answering",
        "{detail}",
        "check the cable and the board's supply; if it stays silent press its reset button",
    ),
    LinkErrorKind.RESTARTED: _Texts(
        "the board on {port} restarted",
        "{detail}",
        "nothing to do if it was meant: the board is set up and lit anew by itself",
    ),
    LinkErrorKind.CLOSED: _Texts(
        "the line to {port} is closed",
        "the program is closing it",
        "connect again",
    ),
    LinkErrorKind.FAILED: _Texts(
        "{port} cannot be opened: {detail}",
        "the system refused for a reason of its own",
        "unplug the board, plug it in again and retry; then try another USB socket or cable",
    ),
}

_DEFAULT_DETAIL: dict[LinkErrorKind, str] = {
    LinkErrorKind.TIMEOUT: "a loose cable, strong interference, or the board hangs",
}


def link_error(
    kind: LinkErrorKind,
    *,
    port: str,
    detail: str = "",
    baud: int = 115_200,
    likely_cause: str | None = None,
    cure: str | None = None,
) -> LinkError:
    """The error of this kind with the usual texts; `likely_cause` and `cure` replace them where more is known."""
    texts = _TEXTS[kind]
    words = {"port": port, "detail": detail or _DEFAULT_DETAIL.get(kind, "no more is known"), "baud": str(baud)}
    return LinkError(
        kind,
        port=port,
        what=texts.what.format_map(words),
        likely_cause=likely_cause if likely_cause is not None else texts.cause.format_map(words),
        cure=cure if cure is not None else texts.cure.format_map(words),
    )


_RESTARTS: dict[RestartCause, tuple[str, str | None]] = {
    RestartCause.POWER: (
        "its supply was switched or broke off for a moment",
        "if nobody switched it, check the plug and the supply's leads",
    ),
    RestartCause.EXTERNAL: ("its reset button was pressed, or another program opened its port", None),
    RestartCause.BROWNOUT: (
        "its supply sagged: pixels draw more than the board's own 5 V can give, or a lead is too thin",
        "feed the pixels from their own fused supply with the grounds joined, or lower the current ceiling",
    ),
    RestartCause.WATCHDOG: (
        "its firmware hung and was restarted by its watchdog",
        "note what was lit when it happened, and load the newest firmware",
    ),
    RestartCause.UNKNOWN: ("it does not say why", None),
}


def restart_error(cause: RestartCause, *, port: str) -> LinkError:
    """The error for a board that restarted in the middle of work."""
    why, cure = _RESTARTS[cause]
    return link_error(LinkErrorKind.RESTARTED, port=port, detail=why, cure=cure)


_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_FORBIDDEN = {errno.EACCES, errno.EPERM}
_ABSENT = {errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO}
_NOT_A_PORT = {errno.ENOTTY, errno.EISDIR, errno.ENOTDIR, errno.EINVAL}
_NETWORK = {
    errno.ECONNREFUSED,
    errno.EHOSTUNREACH,
    errno.ENETUNREACH,
    errno.ETIMEDOUT,
    errno.EHOSTDOWN,
    errno.ENETDOWN,
    errno.ECONNRESET,
}
_WINDOWS_DENIED = 5
_WINDOWS_ABSENT = {2, 3, 31, 121, 433}  # not found (2), no path (3), not functioning (31), time-out (121), no device


def fold(
    exc: BaseException, *, port: str, opening: bool, baud: int = 115_200, platform: str = sys.platform
) -> LinkError:
    """Our own error for whatever a port raised.

    `opening`: an attempt to open, not a loss in use: the same `EIO` means "no such port" in the one and "vanished"
    in the other. A `LinkError` is handed back as it is.
    """
    if isinstance(exc, LinkError):
        return exc
    chain = list(_chain(exc))
    text = "; ".join(dict.fromkeys(_one_line(str(e)) for e in chain if str(e))) or type(exc).__name__
    if not opening:
        return link_error(LinkErrorKind.VANISHED, port=port)
    if platform == "win32":
        on_windows = _windows_kind(text)
        if on_windows is not None:
            return link_error(on_windows, port=port, detail=text)
    if any(isinstance(e, (ConnectionError, TimeoutError, socket.gaierror)) for e in chain):
        return link_error(LinkErrorKind.UNREACHABLE, port=port)
    number = next((n for n in map(_errno_of, chain) if n is not None), None)
    if number in _NETWORK:
        return link_error(LinkErrorKind.UNREACHABLE, port=port)
    if number in _BUSY or "exclusively lock" in text:
        return link_error(LinkErrorKind.BUSY, port=port)
    if number in _FORBIDDEN:
        return _forbidden(port, platform=platform)
    if number in _ABSENT:
        return link_error(LinkErrorKind.NO_SUCH_PORT, port=port)
    if number in _NOT_A_PORT:
        return link_error(LinkErrorKind.BAD_ADDRESS, port=port, detail="it is not a serial port")
    if "RFC2217" in text:
        return link_error(
            LinkErrorKind.WRONG_DEVICE,
            port=port,
            detail="the server there does not speak RFC 2217",
            likely_cause="it hands on plain bytes, or is no serial server",
            cure="try the same host and port as socket://",
        )
    if any(isinstance(e, (ValueError, TypeError, LookupError, NotImplementedError)) for e in chain):
        detail = _one_line(str(chain[-1])) or "it is not understood"
        if isinstance(chain[-1], TypeError):  # pyserial compares a port number that is not there
            detail = "host or port number is missing"
        return link_error(LinkErrorKind.BAD_ADDRESS, port=port, detail=detail, baud=baud)
    return link_error(LinkErrorKind.FAILED, port=port, detail=text)


def _chain(exc: BaseException) -> Iterator[BaseException]:
    seen: set[int] = set()
    at: BaseException | None = exc
    while at is not None and id(at) not in seen:
        seen.add(id(at))
        yield at
        at = at.__cause__ or at.__context__


def _one_line(text: str) -> str:
    return " ".join(text.split())[:200]


def _errno_of(exc: BaseException) -> int | None:
    number = getattr(exc, "errno", None)
    if isinstance(number, int):
        return number
    if not isinstance(exc, (ValueError, TypeError)) and exc.args and isinstance(exc.args[0], int):
        return exc.args[0]  # termios.error keeps its number there
    found = re.search(r"\[Errno (\d+)\]|: \((\d+), '", str(exc))
    return int(found[1] or found[2]) if found else None


def _windows_kind(text: str) -> LinkErrorKind | None:
    # pyserial prints the system's error into its own text and keeps no number.
    found = re.search(r"(?:PermissionError|FileNotFoundError|OSError)\(\d+, .*?, None, (\d+)\)", text)
    if found is None:
        return None
    number = int(found[1])
    if number == _WINDOWS_DENIED:  # there a port is refused only because another program has it
        return LinkErrorKind.BUSY
    return LinkErrorKind.NO_SUCH_PORT if number in _WINDOWS_ABSENT else LinkErrorKind.FAILED


def _forbidden(port: str, *, platform: str) -> LinkError:
    if platform == "win32":
        return link_error(LinkErrorKind.BUSY, port=port)
    if platform == "darwin":
        return link_error(
            LinkErrorKind.FORBIDDEN,
            port=port,
            likely_cause="the driver of the USB chip is not allowed yet, or the port was made for another user",
            cure="allow the driver under System Settings, Privacy & Security, then plug the board in again",
        )
    group, member_on_paper = _group_of_node(port)
    if group is None or group == "root":
        return link_error(
            LinkErrorKind.FORBIDDEN,
            port=port,
            likely_cause="the device node belongs to the system's administrator alone",
            cure="add a udev rule that gives serial ports to a group (dialout or uucp by custom), join that group, then"
            " plug the board in again",
        )
    if member_on_paper:
        return link_error(
            LinkErrorKind.FORBIDDEN,
            port=port,
            likely_cause=f"you were added to the group {group}, but this log-in is older than that",
            cure="log out of the desktop and in again (or restart the computer)",
        )
    return link_error(
        LinkErrorKind.FORBIDDEN,
        port=port,
        likely_cause=f"serial ports here belong to the group {group} and you are not in it",
        cure=f"run `sudo usermod -aG {group} $USER`, then log out of the desktop and in again",
    )


def _group_of_node(port: str) -> tuple[str | None, bool]:
    """Group that owns the device node, and whether this user is listed in it; (None, False) where that is unknown."""
    with contextlib.suppress(ImportError, OSError, KeyError, ValueError):
        import grp
        import pwd

        entry = grp.getgrgid(Path(port).stat().st_gid)
        user = pwd.getpwuid(os.getuid()).pw_name
        return entry.gr_name, user in entry.gr_mem
    return None, False
