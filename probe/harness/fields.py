"""How each thing a person may enter about power and wiring is read, shown and stepped. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any, Final

from probe.document.model import Chain, Record
from probe.document.model.harness import Batch, Feed, Fixing, JoinedTo, Joint, Power, Supply
from probe.harness.base import PowerError, plain
from probe.harness.protection import BLADE_FUSES, SUPPLY_SIZES_A

AWG_STEPS: Final = tuple(range(30, 10, -2))  # thicker and thicker
MM2_STEPS: Final = (0.14, 0.22, 0.25, 0.34, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0)
NOT_NOTED: Final = "not noted"


class How(Enum):
    """What a field holds."""

    GAUGE = "gauge"
    NUMBER = "number"
    WHOLE = "whole"
    TEXT = "text"
    CHOICE = "choice"
    FLAG = "flag"


@dataclass(frozen=True)
class Field:
    """One field of a record.

    `by` is the step of a number, `ladder` the values it steps along instead. `optional`: may be emptied. `silent` is what
    an empty field means.
    """

    name: str
    label: str
    how: How
    unit: str = ""
    by: float = 1
    ladder: tuple[float, ...] = ()
    choices: tuple[str, ...] = ()
    optional: bool = False
    silent: str = NOT_NOTED

    @property
    def hint(self) -> str:
        """What to type."""
        words = {
            How.GAUGE: "gauge, such as 22 AWG or 0.34 mm2",
            How.NUMBER: f"a number{' in ' + self.unit if self.unit else ''}",
            How.WHOLE: f"a whole number{' in ' + self.unit if self.unit else ''}",
            How.TEXT: "any text",
            How.CHOICE: " / ".join(choice or "empty" for choice in self.choices),
            How.FLAG: "yes or no",
        }[self.how]
        if self.name == "made_on":
            words = "a day, such as 2025-03-16"
        return words + (f"; empty: {self.silent}" if self.optional else "")

    def shown(self, value: Any) -> str:
        """A value as the screen shows it."""
        if value is None or value == "":
            return self.silent
        if self.how is How.FLAG:
            return "yes" if value else "no"
        if self.how in (How.NUMBER, How.WHOLE):
            return f"{value:g}{' ' + self.unit if self.unit else ''}"
        return plain(str(value))

    def typed(self, value: Any) -> str:
        """A value as it stands in the entry line."""
        if value is None:
            return ""
        if self.how is How.FLAG:
            return "yes" if value else "no"
        return f"{value:g}" if self.how in (How.NUMBER, How.WHOLE) else str(value)

    def read(self, text: str) -> Any:
        """What a text means. Raises PowerError that says what to type."""
        text = text.strip()
        if not text:
            if self.optional:
                return "" if self.how in (How.TEXT, How.CHOICE) else None
            raise PowerError(f"{self.label}: this cannot be empty. Type {self.hint}.")
        try:
            return _READERS[self.how](self, text)
        except ValueError:
            shown = plain(text)[:30]
            raise PowerError(f"{self.label}: {shown!r} is not understood. Type {self.hint}.") from None

    def stepped(self, value: Any, by: int) -> Any:
        """The value one step up or down; for a choice or flag the next one. Raises PowerError for texts."""
        if self.how is How.FLAG:
            return not value
        if self.how is How.CHOICE:
            at = self.choices.index(value) if value in self.choices else 0
            return self.choices[(at + by) % len(self.choices)]
        if self.how is How.GAUGE:
            return _next_gauge(value, by)
        if self.how in (How.NUMBER, How.WHOLE):
            if self.ladder:
                return _along(self.ladder, value, by)
            start = 0 if value is None else value
            nearest = round((start + by * self.by) / self.by) * self.by
            return round(nearest, 6) if self.how is How.NUMBER else int(nearest)
        raise PowerError(f"{self.label}: Enter changes it, + and - do not.")


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _read_gauge(_: Field, text: str) -> str:
    words = text.lower().replace("²", "2").replace("mm2", " mm2").replace("awg", " awg ").split()
    unit = next((word for word in ("awg", "mm2") if word in words), "")
    sizes = [word for word in words if word != unit]
    if len(sizes) != 1:
        raise ValueError(text)
    size = _number(sizes[0])
    if unit == "awg" or (not unit and size.is_integer() and size >= 10):
        return f"{int(sizes[0])} AWG"
    return f"{size:g} mm²"


def _read_number(field: Field, text: str) -> float:
    return _number(text.lower().removesuffix(field.unit.lower()).strip())


def _read_whole(field: Field, text: str) -> int:
    value = _read_number(field, text)
    if not value.is_integer():
        raise ValueError(text)
    return int(value)


def _read_choice(field: Field, text: str) -> str:
    folded = text.casefold()
    found = [c for c in field.choices if c.casefold() == folded] or [
        c for c in field.choices if c and c.casefold().startswith(folded)
    ]
    if len(found) != 1:
        raise ValueError(text)
    return found[0]


def _read_flag(_: Field, text: str) -> bool:
    word = text.casefold()
    if word in ("yes", "y", "on", "1", "true"):
        return True
    if word in ("no", "n", "off", "0", "false"):
        return False
    raise ValueError(text)


_READERS: Final[dict[How, Callable[[Field, str], Any]]] = {
    How.GAUGE: _read_gauge,
    How.NUMBER: _read_number,
    How.WHOLE: _read_whole,
    How.TEXT: lambda _, text: text,
    How.CHOICE: _read_choice,
    How.FLAG: _read_flag,
}


def _along(ladder: Sequence[float], value: float | None, by: int) -> float:
    """The next value of an ascending ladder above or below."""
    if value is None:
        return ladder[0] if by > 0 else ladder[-1]
    if by > 0:
        return next((step for step in ladder if step > value + 1e-9), ladder[-1])
    return next((step for step in reversed(ladder) if step < value - 1e-9), ladder[0])


def _next_gauge(value: str | None, by: int) -> str:
    """Thicker for +1, thinner for -1."""
    size, unit = (value or "22 AWG").split()
    if unit == "AWG":
        return f"{-_along([-gauge for gauge in AWG_STEPS], -float(size), by):g} AWG"
    return f"{_along(MM2_STEPS, float(size), by):g} mm²"


_JOINED = tuple(JoinedTo)
_COLOUR = {"how": How.TEXT, "optional": True, "silent": "as the batch"}


def _note() -> Field:
    return Field("note", "note", How.TEXT, optional=True, silent="none")


FIELDS: Final[dict[type[Record], tuple[Field, ...]]] = {
    Chain: (
        Field("wire", "wire between pixels", How.GAUGE, optional=True),
        Field("ground_wire", "ground wire", How.GAUGE, optional=True, silent="as 5 V wire"),
        Field("spacing_mm", "spacing of pixels", How.NUMBER, "mm", by=10, optional=True),
        Field("ceiling_ma", "ceiling of the output", How.WHOLE, "mA", by=50),
    ),
    Power: (
        Field("ceiling_level", "greatest level sent", How.WHOLE, by=16),
        Field("typical_percent", "of that, in play", How.WHOLE, "%", by=5),
        Field("drive_volt", "board's data level", How.NUMBER, "V", by=0.1),
        Field("frames_per_s", "frames a second", How.NUMBER, by=5),
        Field("ambient_c", "air under playfield", How.NUMBER, "°C", by=5),
        Field("copper_c", "copper of the wires", How.NUMBER, "°C", by=5),
        Field("wires_in_bundle", "wires in a bundle", How.WHOLE),
    ),
    Supply: (
        Field("name", "name", How.TEXT),
        Field("volt", "voltage", How.NUMBER, "V", by=0.1),
        Field("rating_a", "rating", How.NUMBER, "A", ladder=SUPPLY_SIZES_A, optional=True),
        Field("board_ma", "boards fed from it", How.WHOLE, "mA", by=10),
        Field("usb", "is a USB port", How.FLAG),
    ),
    Feed: (
        Field("name", "name", How.TEXT),
        Field("wire", "wire", How.GAUGE, optional=True),
        Field("length_mm", "length, one way", How.NUMBER, "mm", by=100, optional=True),
        Field("fuse_a", "fuse fitted", How.NUMBER, "A", ladder=tuple(BLADE_FUSES), optional=True),
        _note(),
    ),
    Joint: (
        Field("length_mm", "length of stretch", How.NUMBER, "mm", by=10, optional=True),
        Field("fixing", "held by", How.CHOICE, choices=tuple(Fixing)),
        Field("made_on", "made on", How.TEXT, optional=True),
        Field("five_volt_to", "5 V joined to", How.CHOICE, choices=_JOINED, optional=True, silent="not looked"),
        Field("ground_to", "ground joined to", How.CHOICE, choices=_JOINED, optional=True, silent="not looked"),
        Field("data_to", "data out joined to", How.CHOICE, choices=_JOINED, optional=True, silent="not looked"),
        Field("checked", "checked", How.FLAG),
        Field("leaving_5v", "5 V leaving", **_COLOUR),  # type: ignore[arg-type]
        Field("leaving_ground", "ground leaving", **_COLOUR),  # type: ignore[arg-type]
        Field("leaving_data", "data out", **_COLOUR),  # type: ignore[arg-type]
        Field("arriving_5v", "5 V arriving", **_COLOUR),  # type: ignore[arg-type]
        Field("arriving_ground", "ground arriving", **_COLOUR),  # type: ignore[arg-type]
        Field("arriving_data", "data in", **_COLOUR),  # type: ignore[arg-type]
        Field("five_volt_open", "5 V left open", How.FLAG),
        Field("extra_mohm", "extra resistance", How.NUMBER, "mΩ", by=10),
        _note(),
    ),
    Batch: (
        Field("name", "name", How.TEXT),
        Field("five_volt", "5 V", How.TEXT, optional=True),
        Field("ground", "ground", How.TEXT, optional=True),
        Field("data_in", "data in", How.TEXT, optional=True),
        Field("data_out", "data out", How.TEXT, optional=True),
        Field("chip", "pixel kind", How.TEXT, optional=True, silent="as the chain"),
        _note(),
    ),
}
