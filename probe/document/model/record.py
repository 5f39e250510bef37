"""What every record of a map is built on: the frozen base and the texts it may hold."""

import re
from collections.abc import Callable, Mapping
from functools import cached_property, wraps
from typing import Annotated, Any, Self, TypeVar, cast

from pydantic import BaseModel, ConfigDict, StringConstraints

MAX_TEXT = 2_000

_SURROGATE = re.compile("[\ud800-\udfff]")


def storable(text: str) -> str:
    """Text with lone surrogates replaced, which no UTF-8 file can hold (the models refuse them); the rest as typed."""
    return _SURROGATE.sub("\ufffd", text)


Text = Annotated[str, StringConstraints(max_length=MAX_TEXT)]
Label = Annotated[str, StringConstraints(min_length=1, max_length=MAX_TEXT)]
Identifier = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$")]


class Record(BaseModel):
    """Base of every record: frozen, and a field it does not know is an error."""

    # Built at first use: the map's own build holds all that the first screen reads, the others need not be built for it.
    model_config = ConfigDict(frozen=True, extra="forbid", ignored_types=(cached_property,), defer_build=True)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with some fields changed, unchecked. Cached look-ups of the old record are not taken along."""
        del deep
        fields = {name: getattr(self, name) for name in type(self).model_fields}
        return self.model_construct(**(fields | dict(update or {})))


R = TypeVar("R", bound=Record)
T = TypeVar("T")


def once_for_each(compute: Callable[[R], T]) -> Callable[[R], T]:
    """A function of one record that is computed once for each: records never change. Kept as a cached property is.

    What it gives is shared, so nobody may change it.
    """
    key = f"{compute.__module__}.{compute.__qualname__}"

    @wraps(compute)
    def found(record: R) -> T:
        held = vars(record)
        if key not in held:
            held[key] = compute(record)
        return cast(T, held[key])

    return found
