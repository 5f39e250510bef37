"""A command: what a key means, once. Bindings, footer, menu, help, palette and the settings' names all come from it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from probe.frozen import frozen
from probe.task.events import TakeRow


@frozen
class Command:
    """One row. `event` is the event itself, given to the task (or to the screen, for what only the screen knows).

    `id` is the name that settings use, such as `walk.undo`. `keys` are the terminal library's names. `shown`: in the footer,
    as long as `when(state)` holds (always, if there is no `when`). `empty`: keys that type act only while the entry line
    is empty.
    """

    id: str
    keys: tuple[str, ...]
    words: str
    event: object
    shown: bool = False
    empty: bool = False
    when: Callable[[Any], bool] | None = None

    @property
    def scope(self) -> str:
        """The part of the id before the point: the task, or `app`."""
        return self.id.partition(".")[0]


def rows_by_digit(scope: str, count: int, when: Callable[[Any], bool]) -> tuple[Command, ...]:
    """The digits that take the rows of a short list, where nothing can be typed."""
    return tuple(
        Command(f"{scope}.row.{n}", (str(n),), f"Take row {n}", TakeRow(n - 1), empty=True, when=when)
        for n in range(1, count + 1)
    )
