"""Wires to a board: serial, network and simulated; a link that keeps one board in reach.

    link = BoardLink(open_wire, on_event=callback, transcript=None, retry=RetryPolicy())

    open_wire    PortSpec(address="/dev/ttyUSB0" | "COM3" | "socket://HOST:PORT" | "rfc2217://HOST:PORT" | "loop://" |
                 "simulated://?pixels=84&latency_ms=2", key=None, baud=115200), or any `async () -> Wire`
                 (`SimulatedPort(board).open` for an in-process board). With `key` (see `remembered_key`) the port is
                 looked up anew for each attempt, so that it may change its path.
    on_event     called on the event loop, in order, with a `LinkEvent`:
                 PortOpening(port, attempt) · Waiting(what, left_s) · Connected(identity, port, reason) ·
                 Lost(error, retry_in_s) · NoticeArrived(notice) · WireNote(trouble, text)
                 It must not block; it may start tasks that call `do`.
    transcript   called with (seconds, "open" | "out" | "in" | "end", bytes) for a wire log (its form: `link.replay`).

    link.start()                       begin in the background and never give up; everything comes as events
    identity = await link.connect()    one attempt; raises LinkError; once connected the link reconnects by itself
    reply = await link.do(order)       one in flight, others queue; raises LinkLost (a LinkError) as soon as the board
                                       is lost or restarted, OrderRefused when the board refuses or cannot
    link.identity                      Identity of the board now connected, or None
    link.port                          address in use now, or None
    await link.close(dark=True)        dark if possible, then closed; no task and no thread is left

    links also work as `async with BoardLink(...) as link:` (start on entry, close on exit).

After each `Connected` settings and light of the board are unknown: order `Darken()`, set it
up, then light anew (`probe.runtime` does). An idle link keeps the board awake by itself.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from probe.link.errors import LinkError, LinkErrorKind, LinkLost
    from probe.link.events import (
        Connected,
        ConnectReason,
        LinkEvent,
        Lost,
        NoticeArrived,
        PortOpening,
        Waiting,
        WireNote,
        WireTrouble,
    )
    from probe.link.link import BoardLink, RetryPolicy
    from probe.link.ports import (
        Family,
        PortInfo,
        current_address,
        find_device,
        find_port,
        list_ports,
        remembered_key,
        usb_name,
    )
    from probe.link.refusal import OrderRefused
    from probe.link.wire import DEFAULT_BAUD, OpenWire, PortSpec, Wire, open_wire

__all__ = [
    "DEFAULT_BAUD",
    "BoardLink",
    "ConnectReason",
    "Connected",
    "Family",
    "LinkError",
    "LinkErrorKind",
    "LinkEvent",
    "LinkLost",
    "Lost",
    "NoticeArrived",
    "OpenWire",
    "OrderRefused",
    "PortInfo",
    "PortOpening",
    "PortSpec",
    "RetryPolicy",
    "Waiting",
    "Wire",
    "WireNote",
    "WireTrouble",
    "current_address",
    "find_device",
    "find_port",
    "list_ports",
    "open_wire",
    "remembered_key",
    "usb_name",
]

_NAMES_OF = {
    "errors": (
        "LinkError",
        "LinkErrorKind",
        "LinkLost",
    ),
    "events": (
        "Connected",
        "ConnectReason",
        "LinkEvent",
        "Lost",
        "NoticeArrived",
        "PortOpening",
        "Waiting",
        "WireNote",
        "WireTrouble",
    ),
    "link": (
        "BoardLink",
        "RetryPolicy",
    ),
    "ports": (
        "Family",
        "PortInfo",
        "current_address",
        "find_device",
        "find_port",
        "list_ports",
        "remembered_key",
        "usb_name",
    ),
    "refusal": ("OrderRefused",),
    "wire": (
        "DEFAULT_BAUD",
        "OpenWire",
        "PortSpec",
        "Wire",
        "open_wire",
    ),
}
_HOME = {name: module for module, names in _NAMES_OF.items() for name in names}


def __getattr__(name: str) -> Any:
    """What `__all__` names, from its module: imported with the first use, because the first screen needs no link."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = found = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    return found
