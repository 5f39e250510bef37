"""What a board says of itself, for steps that are tested without one."""

from __future__ import annotations

from typing import Any

from device_protocol.orders import FEATURES, Identity, RestartCause


def identity(**changes: Any) -> Identity:
    """An able board of two outputs of 1,000 pixels, but for `changes`."""
    said: dict[str, Any] = {
        "proto": 1,
        "board": "test-board",
        "build": "1.0",
        "line": 96,
        "outputs": 2,
        "pixels": 1_000,
        "ceiling_ma": 2_000,
        "channel_ua": 20_000,
        "idle_ua": 1_000,
        "silence_ms": 5_000,
        "uptime_ms": 1,
        "cause": RestartCause.POWER,
        "table": 0,
        "features": frozenset(FEATURES),
    }
    return Identity(**(said | changes))
