"""The flex test: joint by joint from the board outwards, "did anything change?", and the notes that come of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from probe.document.model import shown_number

SECONDS_EACH = 5
ACTIONS = (
    "press the joint with a wooden or plastic stick",
    "pull each of its wires lightly",
    "press the pixel's face",
    "press each staple on the way",
    "tap the playfield beside it",
)


@dataclass(frozen=True)
class Touched:
    """One joint's answer; `changed` None: passed over. `note` is what the person saw."""

    joint: int
    changed: bool | None
    note: str = ""


@dataclass(frozen=True)
class FlexLog:
    """A run over the joints of a chain. Joint i arrives at pixel i; joint 0 comes from the board.

    `pattern` is what runs meanwhile (`hold-one` or `march`): it decides what a change means.
    """

    count: int
    pattern: str = "hold-one"
    first: int = 0
    answers: tuple[Touched, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.first < self.count:
            raise ValueError(f"joint {self.first} is not in a chain of {self.count}")

    @property
    def joint(self) -> int | None:
        """The joint to touch now, or None when all are done."""
        at = self.first + len(self.answers)
        return at if at < self.count else None

    @property
    def prompt(self) -> str:
        """What to do now, in a line."""
        if self.joint is None:
            return "All joints touched."
        return f"Joint {joint_name(self.joint)}: {SECONDS_EACH} seconds. Change? y/n"

    def answered(self, changed: bool | None, note: str = "") -> FlexLog:
        """After a joint: changed, not changed, or None to pass it over. Raises ValueError when all are done."""
        if self.joint is None:
            raise ValueError("all joints are done")
        return replace(self, answers=(*self.answers, Touched(self.joint, changed, note.strip())))

    def back(self) -> FlexLog:
        """One joint back; at the first joint nothing happens."""
        return replace(self, answers=self.answers[:-1])

    @property
    def changed(self) -> tuple[Touched, ...]:
        """The joints at which something changed."""
        return tuple(touched for touched in self.answers if touched.changed)

    def notes(self) -> tuple[str, ...]:
        """Lines for the map's notes: one for each joint that reacted, and one that says how far the test went."""
        done = len(self.answers)
        passed = sum(touched.changed is None for touched in self.answers)
        if not done:
            return ()
        reach = f"flex test ({self.pattern}): joints {joint_name(self.first)} to {joint_name(self.first + done - 1)}"
        lines = [f"{reach}, {len(self.changed)} reacted" + (f", {passed} passed over" if passed else "")]
        lines += [
            f"flex test ({self.pattern}): joint {joint_name(touched.joint)} reacted"
            + (f": {touched.note}" if touched.note else "")
            for touched in self.changed
        ]
        return tuple(lines)


def joint_name(joint: int) -> str:
    """A joint by its two ends, as every screen shows numbers."""
    return f"{'board' if joint == 0 else shown_number(joint - 1)} to {shown_number(joint)}"


def meaning(pattern: str, seen: str) -> str:
    """What a change during the flex test means. `seen`: dark, odd or lags; empty text when it means nothing known."""
    return {
        ("hold-one", "dark"): "plus or GND was lost there for a moment; so did all that went dark with it",
        ("hold-one", "odd"): "data was disturbed: noise or a loose data joint",
        ("march", "lags"): "the data joint before the first place that lags opens",
    }.get((pattern, seen), "")
