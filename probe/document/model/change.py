"""One record before and after a change: what revisions are made of, so that they can be undone and compared."""

from enum import StrEnum
from typing import Annotated, Any

from pydantic import Field, JsonValue, StringConstraints

from probe.document.model.record import Identifier, Record, Text

NumberRuns = Annotated[
    str, StringConstraints(pattern=r"^(?:(?:\+?\d{1,5}|\d{1,5}-\d{1,5})(?: (?:\+?\d{1,5}|\d{1,5}-\d{1,5}))*)?$")
]
"""New numbers as runs of old ones: `0-41 +3 42-99`; `57-50` is a reversed run, `+3` three new pixels."""


class What(StrEnum):
    """What sort of record changed. The value is also the word for it."""

    MACHINE = "machine"
    CHAIN = "chain"
    ORDER = "order"
    PIXEL = "pixel"
    JOINT = "joint"
    PLACE = "place"
    SHAPE = "shape"
    KEEP_OUT = "keep-out"
    PLAN_RULES = "plan rules"
    LAMP = "lamp"
    GROUP = "group"
    SUPPLY = "supply"
    FEED = "feed"
    BATCH = "batch"
    WORK = "work line"
    PHOTO = "photo"
    POWER = "power"
    FADE = "fade"


class Change(Record):
    """One record before and after; None where it was not there. Fields are as in the map file, defaults left out.

    `key` is the record's id (a joint's is `after>before`, a lamp's its number or name, a shape's its kind). `at` is its index among its like:
    the old one if it is gone now, else the new one if it is new. `order` and `length` (pixels before) only with ORDER.
    """

    what: What
    chain: Identifier | None = None
    key: Text = ""
    at: int | None = Field(default=None, ge=0)
    order: NumberRuns = ""
    length: int | None = Field(default=None, ge=0)
    before: dict[str, JsonValue] | None = None
    after: dict[str, JsonValue] | None = None


def differing(before: dict[str, Any] | None, after: dict[str, Any] | None) -> set[str]:
    """Names of the fields in which two records differ, each as a change holds it."""
    old, new = before or {}, after or {}
    return {key for key in old.keys() | new.keys() if old.get(key) != new.get(key)}


def fields_of(record: Record, *, leave_out: frozenset[str] = frozenset()) -> dict[str, Any]:
    """A record as a change holds it."""
    return record.model_dump(mode="json", exclude_defaults=True, exclude=set(leave_out) or None)
