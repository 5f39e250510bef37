"""The wall clock, as revisions hold it."""

from __future__ import annotations

from datetime import UTC, datetime


def now_text() -> str:
    """The time now: RFC 3339, UTC, whole seconds."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
