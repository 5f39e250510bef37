"""`@frozen` behaves as `@dataclass(frozen=True)` does: each check runs on both, so that the library is the reference."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace
from functools import cached_property
from typing import Any, ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.frozen import frozen


@dataclass(frozen=True)
class Reference:
    """A record with every kind of field that the program uses."""

    first: int
    second: str = "none"
    many: tuple[int, ...] = ()
    own: list[int] = field(default_factory=list, compare=False)
    hidden: int = field(default=7, repr=False)
    COUNT: ClassVar[int] = 3

    @cached_property
    def doubled(self) -> int:
        return 2 * self.first


@dataclass(frozen=True)
class ReferenceBelow(Reference):
    third: bool = False

    def __post_init__(self) -> None:
        if self.first < 0:
            raise ValueError("below zero")


@dataclass(frozen=True, kw_only=True)
class ReferenceNamed:
    last: int = 1
    first: int


@dataclass(frozen=True)
class ReferenceEmpty:
    pass


@frozen
class Ours:
    """A record with every kind of field that the program uses."""

    first: int
    second: str = "none"
    many: tuple[int, ...] = ()
    own: list[int] = field(default_factory=list, compare=False)
    hidden: int = field(default=7, repr=False)
    COUNT: ClassVar[int] = 3

    @cached_property
    def doubled(self) -> int:
        return 2 * self.first


@frozen
class OursBelow(Ours):
    third: bool = False

    def __post_init__(self) -> None:
        if self.first < 0:
            raise ValueError("below zero")


@frozen(kw_only=True)
class OursNamed:
    last: int = 1
    first: int


@frozen
class OursEmpty:
    pass


PAIRS: tuple[tuple[Any, Any], ...] = (
    (Reference, Ours),
    (ReferenceBelow, OursBelow),
    (ReferenceNamed, OursNamed),
    (ReferenceEmpty, OursEmpty),
)


def outcome(act: Callable[[], object]) -> object:
    """What comes of it, with the names of the pairs made alike."""
    try:
        found = repr(act())
    except Exception as exc:
        found = f"{type(exc).__name__}: {exc}"
    return found.replace("Reference", "Ours")


_CALLS = (
    lambda c: c(),
    lambda c: c(1),
    lambda c: c(first=1),
    lambda c: c(1, "two", (3,), [4], 5),
    lambda c: c(1, first=2),
    lambda c: c(1, fourth=2),
    lambda c: c(-1),
    lambda c: (c(first=1) == c(first=1), c(first=1) == c(first=2), c(first=1) == 1, c(first=1) != c(first=1)),
    lambda c: c(first=1, own=[1]) == c(first=1, own=[2]),
    lambda c: hash(c(first=1)) == hash(c(first=1)),
    lambda c: len({c(first=1), c(first=1), c(first=2)}),
    lambda c: replace(c(first=1), first=5),
    lambda c: asdict(c(first=1)),
    lambda c: [(f.name, f.default, f.kw_only, f.init) for f in fields(c)][:2],
    lambda c: c.__match_args__,
    lambda c: copy.deepcopy(c(first=1)),
    lambda c: pickle.loads(pickle.dumps(c(first=1))),
    lambda c: (c(first=4).doubled, c.COUNT),
    lambda c: setattr(c(first=1), "first", 2),
    lambda c: delattr(c(first=1), "first"),
    lambda c: setattr(c(first=1), "other", 2),
    lambda c: c(first=1).own is c(first=1).own,
    lambda c: (c() == c(), c() == 0, hash(c()) == hash(c()), {c(): 1}),
)


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: pair[1].__name__)
@pytest.mark.parametrize("call", _CALLS, ids=range(len(_CALLS)))
def test_it_behaves_as_the_library_s_frozen_dataclass(pair: tuple[Any, Any], call: Callable[[Any], object]) -> None:
    reference, ours = pair
    assert outcome(lambda: call(ours)) == outcome(lambda: call(reference))


@given(a=st.tuples(st.integers(0, 1), st.text(max_size=1)), b=st.tuples(st.integers(0, 1), st.text(max_size=1)))
def test_equal_where_the_library_s_are(a: tuple[int, str], b: tuple[int, str]) -> None:
    assert (Ours(*a) == Ours(*b)) == (Reference(*a) == Reference(*b))
    assert Ours(*a) != OursBelow(*a)


def test_a_class_knows_its_fields_before_there_is_an_instance() -> None:
    @frozen
    class Late:
        here: int
        there: int = 2

    assert [f.name for f in fields(Late)] == ["here", "there"]
    with pytest.raises(FrozenInstanceError):
        Late(1).here = 2  # type: ignore[misc]
    match Late(1, 3):
        case Late(here, there):
            assert (here, there) == (1, 3)


def test_own_methods_stay() -> None:
    @frozen
    class Named:
        name: str

        def __repr__(self) -> str:
            return "mine"

        def __eq__(self, other: object) -> bool:
            return isinstance(other, Named)

        def __hash__(self) -> int:
            return 5

    assert (repr(Named("a")), Named("a") == Named("b"), hash(Named("a"))) == ("mine", True, 5)
