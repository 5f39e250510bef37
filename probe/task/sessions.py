"""Sessions: what a step changes in the map is kept as pending with every answer, and closed as one revision.

`Recording(step)` stands in for the step of any activity whose state has a field `map`. It gives every map that is to be
saved its pending changes, and answers `CloseSession`. It remembers nothing that could not be reckoned again from the map.
What one screen changed is a revision apart from what came before it: `CloseVisit`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from probe.document.diff import Cache
from probe.document.model import PlayfieldMap
from probe.document.revisions import (
    base_of,
    close,
    closed_apart,
    recorded,
    session_closed,
    session_reason,
    undo,
)
from probe.task.steps import Effect, SaveMap

Step = Callable[[Any, Any, float], tuple[Any, tuple[Effect, ...]]]


@dataclass(frozen=True)
class CloseSession:
    """Make a revision of all that changed since the last one. `time`: RFC 3339 UTC text."""

    time: str
    reason: str = ""


@dataclass(frozen=True)
class CloseVisit:
    """Make a revision of what changed since the map `since`, and before it one of what was pending there."""

    since: PlayfieldMap
    time: str
    reason: str = ""


@dataclass(frozen=True)
class UndoRevision:
    """Take the last revision back, or with `redo` do the last undone one again, as a revision of its own."""

    time: str
    redo: bool = False


def _replaced(state: Any, m: PlayfieldMap) -> Any:
    return replace(state, map=m)


class Recording:
    """A step that keeps a map's pending changes in line. The base map and the changes made are kept only to save time."""

    def __init__(self, step: Step, m: PlayfieldMap, adopt: Callable[[Any, PlayfieldMap], Any] = _replaced) -> None:
        self._step = step
        self._adopt = adopt
        self._cache: Cache = {}
        self._base = base_of(m)
        self._based_on = m.revisions

    def __call__(self, state: Any, given: Any, now_s: float) -> tuple[Any, tuple[Effect, ...]]:
        """The state after an input, its map with pending changes, and the effects with that map."""
        if isinstance(given, CloseSession):
            return self._closed(state, given)
        if isinstance(given, CloseVisit):
            return self._left(state, given)
        if isinstance(given, UndoRevision):
            return self._undone(state, given)
        before: PlayfieldMap = state.map
        after, effects = self._step(state, given, now_s)
        m: PlayfieldMap = after.map
        if m is before or m.pending is not before.pending or m.revisions is not before.revisions:
            return after, effects  # nothing changed, or a map from earlier that has its own pending changes
        kept = recorded(self._base_under(before), m, cache=self._cache)
        if kept.pending == m.pending:
            return after, effects
        saves = tuple(SaveMap(kept) if isinstance(e, SaveMap) and e.map is m else e for e in effects)
        return replace(after, map=kept), saves

    def _base_under(self, m: PlayfieldMap) -> PlayfieldMap:
        if self._based_on is not m.revisions:
            self._base, self._based_on = base_of(m), m.revisions
            self._cache.clear()
        return self._base

    def _whole(self, m: PlayfieldMap) -> PlayfieldMap:
        """The map with all that is pending, what was changed outside of this step too."""
        return recorded(self._base_under(m), m, cache=self._cache)

    def _closed(self, state: Any, given: CloseSession) -> tuple[Any, tuple[Effect, ...]]:
        whole = self._whole(state.map)
        if not whole.pending:
            return state, ()
        m = close(whole, time=given.time, reason=given.reason or session_reason(whole))
        return replace(state, map=m), (SaveMap(m),)

    def _left(self, state: Any, given: CloseVisit) -> tuple[Any, tuple[Effect, ...]]:
        m = closed_apart(given.since, state.map, time=given.time, reason=given.reason)
        return (replace(state, map=m), (SaveMap(m),)) if m is not state.map else (state, ())

    def _undone(self, state: Any, given: UndoRevision) -> tuple[Any, tuple[Effect, ...]]:
        whole = self._whole(state.map)
        m = session_closed(whole, time=given.time)
        m = undo(m, time=given.time, redo=given.redo)
        return self._adopt(state, m), (SaveMap(m),)
