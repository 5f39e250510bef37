"""Picking a place: part of its name, arrows, Enter. A small task on top of another, closed with the place's id or None."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from probe.document.joining import LEAST_LIKENESS, alike
from probe.document.model import Place, PlayfieldMap
from probe.document.operations import folded
from probe.game.keys import PICK
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import AsBelow, Light
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, TaskView

MOST_LISTED = 200


@dataclass(frozen=True)
class PickFacts:
    """`question`: what the place is for. Places with a name like `like` come first, then those in `first` (ids), in order."""

    question: str
    like: str = ""
    first: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class PlacePick(TaskState):
    """The state."""

    facts: PickFacts
    typed: str = ""
    chosen: int = 0

    @cached_property
    def offered(self) -> tuple[Place, ...]:
        """Places that what is typed leaves, the likeliest first."""
        return ranked(self.map, self.typed, self.facts)


class PickTask(Task[PlacePick]):
    """One question: which place?"""

    name = "pick"
    commands = PICK
    own_revision = False

    def step(self, s: PlacePick, event: object, now_s: float) -> Next[PlacePick] | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Typed(text):
                return replace(s, typed=text, chosen=0), ()
            case ev.Choose(by):
                return (replace(s, chosen=(s.chosen + by) % len(s.offered)), ()) if s.offered else (s, ())
            case ev.Take():
                return s, (fx.Close(s.offered[s.chosen].id if s.offered else None),)
            case _:
                return None

    def light(self, s: PlacePick) -> Light:
        """What is lit stays."""
        return AsBelow()

    def view(self, s: PlacePick) -> TaskView:
        """The question, a line for part of a name, and places."""
        return TaskView(
            head=s.map.machine.name,
            board=s.board.words,
            above=(Line(s.facts.question, "bold"),),
            prompt="part of its name:",
            typed=s.typed,
            items=tuple(_line(s.map, place) for place in s.offered),
            chosen=s.chosen,
            empty=(Line("no place has that in its name", "dim"),),
            message=s.message,
            unsaved=s.unsaved,
        )


def make(opened: Opened) -> tuple[PickTask, PlacePick]:
    """The places of the open map, to pick from."""
    assert opened.map is not None, "places are picked from a map"
    assert isinstance(opened.facts, PickFacts)
    return PickTask(), PlacePick(map=opened.map, facts=opened.facts)


def ranked(map_: PlayfieldMap, typed: str, facts: PickFacts) -> tuple[Place, ...]:
    """Places with `typed` in their name or area, the likeliest first; 200 at most."""
    wanted = folded(typed)
    order = {place: at for at, place in enumerate(facts.first)}
    places = [place for place in map_.places if wanted in folded(f"{place.label} {place.area}")]

    def rank(place: Place) -> tuple[float, int]:
        likeness = alike(place.label, place.area, facts.like) if facts.like else 0.0
        near = likeness if likeness >= LEAST_LIKENESS else 0.0
        return -near, order.get(place.id, len(order))

    return tuple(sorted(places, key=rank)[:MOST_LISTED])


def _line(map_: PlayfieldMap, place: Place) -> Line:
    pixels = " ".join(str(number) for _, number in map_.pixels_at.get(place.id, ())) or "no pixel"
    job = f"lamp {', '.join(map(str, place.lamps))}" if place.lamps else place.group or "no lamp"
    return Line(f"{place.label} · {place.area} · {pixels} · {job}")
