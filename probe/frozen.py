"""`@frozen`: a frozen dataclass whose methods are written when they are first called.

Python 3.11 compiles six methods for each frozen dataclass while its module is loaded, about a millisecond a class. The first
screen brings a hundred small events, effects and views, and uses few of them: that was a fifth of the time to its first
picture. What is written here behaves like `@dataclass(frozen=True)`: `fields`, `replace`, `asdict`, `match`, `copy` and
pickle work, equality and hash go by the fields that compare. It does not mix with `@dataclass(frozen=True)` in one line of
inheritance (Python refuses that when the module is loaded), and knows neither `InitVar` nor `slots`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, dataclass, field, fields
from operator import attrgetter
from reprlib import recursive_repr
from typing import Any, NoReturn, TypeVar, dataclass_transform, overload

T = TypeVar("T")


def _refuse_set(self: object, name: str, value: object) -> NoReturn:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_delete(self: object, name: str) -> NoReturn:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


@recursive_repr()
def _repr(self: Any) -> str:
    shown = ", ".join(f"{f.name}={getattr(self, f.name)!r}" for f in fields(self) if f.repr)
    return f"{type(self).__qualname__}({shown})"


def _write_init(cls: type[Any]) -> Callable[..., None]:
    """The `__init__` of a class, compiled from its fields."""
    scope: dict[str, Any] = {"_set": object.__setattr__, "_factory": MISSING}
    in_place: list[str] = []
    by_name: list[str] = []
    body: list[str] = []
    for at, f in enumerate(fields(cls)):
        value = f.name
        if f.default_factory is not MISSING:
            scope[f"_make{at}"] = f.default_factory
            value = f"_make{at}() if {f.name} is _factory else {f.name}" if f.init else f"_make{at}()"
        if f.init:
            default = ""
            if f.default_factory is not MISSING:
                default = "=_factory"
            elif f.default is not MISSING:
                scope[f"_default{at}"] = f.default
                default = f"=_default{at}"
            (by_name if f.kw_only else in_place).append(f.name + default)
        if f.init or f.default_factory is not MISSING:
            body.append(f" _set(_self, {f.name!r}, {value})")
    if hasattr(cls, "__post_init__"):
        body.append(" _self.__post_init__()")
    parameters = ", ".join(["_self", *in_place, *(["*", *by_name] if by_name else [])])
    exec("\n".join([f"def __init__({parameters}):", *(body or [" pass"])]), scope)
    written: Callable[..., None] = scope["__init__"]
    written.__qualname__ = f"{cls.__qualname__}.__init__"
    return written


def _compared(cls: type[Any]) -> Callable[[Any], Any]:
    """What of an instance compares, as one value."""
    names = [f.name for f in fields(cls) if f.compare]
    return attrgetter(*names) if names else lambda _: ()


def _made(cls: type[T], kw_only: bool) -> type[T]:
    own: Any = cls
    if cls.__doc__ is None:
        cls.__doc__ = cls.__name__  # else dataclass works out a signature
    dataclass(init=False, repr=False, eq=False, kw_only=kw_only)(cls)

    def first_init(self: object, *values: object, **named: object) -> None:
        own.__init__ = _write_init(cls)
        own.__init__(self, *values, **named)

    def equals(self: object, other: object) -> Any:
        if type(other) is not type(self):
            return NotImplemented
        return self is other or own.__compared__(self) == own.__compared__(other)

    def hashed(self: object) -> int:
        return hash(own.__compared__(self))

    def first_compared(self: object) -> Any:
        own.__compared__ = staticmethod(_compared(cls))
        return own.__compared__(self)

    own.__compared__ = staticmethod(first_compared)
    own.__init__ = first_init
    own.__setattr__ = _refuse_set
    own.__delattr__ = _refuse_delete
    for name, method in (("__repr__", _repr), ("__eq__", equals), ("__hash__", hashed)):
        if name not in cls.__dict__ or (name == "__hash__" and cls.__dict__[name] is None):
            setattr(cls, name, method)
    return cls


@overload
def frozen(cls: type[T]) -> type[T]: ...
@overload
def frozen(*, kw_only: bool = False) -> Callable[[type[T]], type[T]]: ...
@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def frozen(cls: type[T] | None = None, *, kw_only: bool = False) -> type[T] | Callable[[type[T]], type[T]]:
    """Make a class a frozen dataclass; see the module."""
    return _made(cls, kw_only) if cls is not None else lambda made: _made(made, kw_only)
