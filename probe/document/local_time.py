"""Times as a person at the machine reads them: the map keeps RFC 3339 UTC, screens show local date and time."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAY = len("2026-11-03")


def moment_of(time: str, *, zone: tzinfo | None = None) -> datetime | None:
    """An RFC 3339 time or bare date (UTC where it does not say), in the computer's time zone unless `zone` is given; None if
    it is none, or beyond what a clock can say.
    """
    try:
        moment = datetime.fromisoformat(time.replace("Z", "+00:00"))
    except ValueError:
        return None
    try:
        return (moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)).astimezone(zone)
    except (OverflowError, OSError):
        return None  # before or after what the system's clock can say


def local_date(time: str, *, zone: tzinfo | None = None) -> str:
    """A date such as `3 Nov 2026`, in the computer's time zone unless `zone` is given; what is no time stays as it is.

    A bare day, such as `2026-11-03`, is that day in every zone.
    """
    at = moment_of(time, zone=UTC if len(time) == _DAY else zone)
    return time if at is None else f"{at.day} {_MONTHS[at.month - 1]} {at.year}"


def local_minute(time: str, *, zone: tzinfo | None = None) -> str:
    """Date and time such as `3 Nov 2026, 21:05`; of a bare day the date alone; as `local_date`."""
    at = None if len(time) == _DAY else moment_of(time, zone=zone)
    return (
        local_date(time, zone=zone) if at is None else f"{local_date(time, zone=zone)}, {at.hour:02d}:{at.minute:02d}"
    )
