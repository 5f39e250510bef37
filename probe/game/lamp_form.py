"""The form of one row of the lamp list, field by field: a small task on top of the list, closed with the row or None."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from pydantic import ValidationError

from probe.document.joining import places_of_lamp
from probe.document.model import Kind, Lamp, Place, shown_number
from probe.document.model.record import storable
from probe.document.operations import folded
from probe.game.keys import LAMP
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import AsBelow, Light
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, Pane, PictureView, TaskView, in_hand

FIELDS = ("number", "name", "area", "kind", "driver", "row", "column", "insert_colour", "group", "note")
_NUMBERS = frozenset({"number", "row", "column"})
_WORDS = {"insert_colour": "colour of insert", "row": "row (strobe)", "column": "column (strobe)"}
_HINTS = {
    "number": "empty: always on",
    "kind": ", ".join(Kind),
    "group": "general with a number: that lamp switches the whole group",
}


class FieldError(ValueError):
    """What was typed is no lamp; `field` is where."""

    def __init__(self, field: str, what: str) -> None:
        super().__init__(what)
        self.field = field


@dataclass(frozen=True)
class LampFacts:
    """The row to be changed; None: a new one."""

    lamp: Lamp | None = None


@dataclass(frozen=True, kw_only=True)
class LampForm(TaskState):
    """The state. `texts`: what each field holds; `chosen`: the field that is being typed; `lamp`: the row as it was."""

    texts: tuple[str, ...]
    chosen: int = 0
    lamp: Lamp | None = None

    @property
    def typed(self) -> str:
        """The text of the field in hand."""
        return self.texts[self.chosen]

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """The places that the row stands for, as the map has it."""
        return tuple(places_of_lamp(self.map, self.lamp)) if self.lamp is not None else ()


class LampFormTask(Task[LampForm]):
    """One row, field by field."""

    name = "lamp"
    commands = LAMP
    own_revision = False

    def step(self, s: LampForm, event: object, now_s: float) -> Next[LampForm] | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Typed(text):
                return replace(s, texts=(*s.texts[: s.chosen], text, *s.texts[s.chosen + 1 :]), message=""), ()
            case ev.Choose(by):
                return replace(s, chosen=(s.chosen + by) % len(FIELDS)), ()
            case ev.Take():
                try:
                    lamp = lamp_of(dict(zip(FIELDS, s.texts, strict=True)))
                except FieldError as exc:
                    return replace(s, chosen=FIELDS.index(exc.field), message=str(exc)), (fx.Bell(),)
                return s, (fx.Close(lamp),)
            case _:
                return None

    def light(self, s: LampForm) -> Light:
        """What is lit stays."""
        return AsBelow()

    def view(self, s: LampForm) -> TaskView:
        """The fields with their texts, and a line for the one in hand."""
        field = FIELDS[s.chosen]
        hint = f"{_HINTS[field]} · " if field in _HINTS else ""
        return TaskView(
            head=s.map.machine.name,
            board=s.board.words,
            above=(Line("A new row of the lamp list" if s.lamp is None else "A row of the lamp list", "bold"),),
            prompt=f"{_WORDS.get(field, field)}:",
            typed=s.typed,
            items=tuple(Line(f"{_WORDS.get(n, n):<18}{text}") for n, text in zip(FIELDS, s.texts, strict=True)),
            chosen=s.chosen,
            below=(Line(f"{hint}Enter keeps it, Esc leaves it, ↓ ↑ Tab: next field", "dim", wrap=True),),
            message=s.message,
            unsaved=s.unsaved,
            picture=PictureView(
                tuple(spot for place in s.places for spot in in_hand(place)),
                roomy=True,
                seen_on_request=True,
                title="Its places",
            ),
            panes=lambda _: (Pane("Its places", tuple(_place_lines(s))),),
        )


def _place_lines(s: LampForm) -> Iterator[Line]:
    """The places of the row, each with its pixels."""
    if not s.places:
        yield Line("No place has this row yet: F5 in the list proposes one.", wrap=True)
    for place in s.places:
        pixels = [
            f"{s.map.chain(chain).name} {shown_number(number)}" for chain, number in s.map.pixels_at.get(place.id, ())
        ]
        yield Line(place.label, note=", ".join((place.area, *pixels) if place.area else pixels), wrap=True)


def make(opened: Opened) -> tuple[LampFormTask, LampForm]:
    """The form of the row that the facts name."""
    assert opened.map is not None, "a row belongs to a map"
    facts = opened.facts if isinstance(opened.facts, LampFacts) else LampFacts()
    texts = tuple(texts_of(facts.lamp)[name] for name in FIELDS)
    return LampFormTask(), LampForm(map=opened.map, texts=texts, lamp=facts.lamp)


def texts_of(lamp: Lamp | None) -> dict[str, str]:
    """A row as texts to be changed by hand; of None an empty one."""
    if lamp is None:
        return dict.fromkeys(FIELDS, "")
    values = {name: getattr(lamp, name) for name in FIELDS}
    return {name: "" if value is None else str(value) for name, value in values.items()}


def lamp_of(texts: Mapping[str, str]) -> Lamp:
    """A row from texts. Raises FieldError."""
    fields: dict[str, object] = {}
    for name in FIELDS:
        text = storable(texts.get(name, "")).strip()
        if name in _NUMBERS:
            if text and not (text.isascii() and text.isdecimal()):
                raise FieldError(name, f"{name}: {text[:20]!r} is not a whole number")
            fields[name] = int(text[:9]) if text else None
        elif name == "kind":
            kinds = [kind for kind in Kind if folded(kind.value).startswith(folded(text))] if text else [Kind.INSERT]
            if not kinds:
                raise FieldError(name, f"kind: one of {', '.join(Kind)}")
            fields[name] = kinds[0]
        else:
            fields[name] = text
    if not fields["name"]:
        raise FieldError("name", "name: every lamp needs one")
    if fields["number"] is None and not fields["group"]:
        raise FieldError("number", "a number, or a group if no lamp output of the game switches it")
    try:
        return Lamp.model_validate(fields)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        at = str(fault["loc"][0]) if fault["loc"] else "name"
        raise FieldError(at, f"{at}: {fault['msg'][:1].lower()}{fault['msg'][1:]}") from None
