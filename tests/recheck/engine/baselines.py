"""Other ways to get the map back, to compare with: stepping through, and bisection on the shift."""

from __future__ import annotations

from probe.recheck.engine.model import END, NEW, Answer, AtNewPlace, AtPlace, Probe
from tests.recheck.engine.worlds import Person


def _value(answer: Answer) -> int:
    if isinstance(answer, AtPlace):
        return answer.place
    return NEW if isinstance(answer, AtNewPlace) else END


def stepping(person: Person) -> tuple[list[int], int]:
    """Light every number once, until nothing is lit.  Returns the map and the count of actions."""
    found: list[int] = []
    while True:
        value = _value(person.answer(Probe(number=len(found))))
        if value == END:
            return found, len(found) + 1
        found.append(value)


def bisection(person: Person, *, old_count: int) -> tuple[list[int], int, int]:
    """Bisect on the shift: where both ends of a stretch have the same shift, everything between is taken to have it.

    Every new pixel is probed (that is its naming).  Returns the map, the actions and how many of them met NEW.
    """
    known: dict[int, int] = {}

    def ask(number: int) -> int:
        if number not in known:
            known[number] = _value(person.answer(Probe(number=number)))
        return known[number]

    last = old_count - 1
    step = 1
    if ask(last) == END:
        while last > 0 and ask(last) == END:
            last = max(0, last - step)
            step *= 2
    high = last + 1
    while ask(high) != END:
        last, high = high, high + step
        step *= 2
    while high - last > 1:
        middle = (last + high) // 2
        if ask(middle) == END:
            high = middle
        else:
            last = middle
    ask(0)
    open_stretches = [(0, last)]
    while open_stretches:
        a, b = open_stretches.pop()
        if b - a < 2:
            continue
        va, vb = ask(a), ask(b)
        if va >= 0 and vb >= 0 and vb - va == b - a:
            continue
        middle = (a + b) // 2
        ask(middle)
        open_stretches += [(a, middle), (middle, b)]
    found: list[int] = []
    for number in range(last + 1):
        value = known.get(number)
        if value is None:
            value = found[-1] + 1 if found and found[-1] >= 0 else NEW
        found.append(value)
    return found, len(known), sum(v == NEW for v in known.values())
