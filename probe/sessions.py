"""Sessions: what a step changes in the map is kept as pending with every answer, and closed as one revision.

`Recording(step)` stands in for the step of any activity whose state has a field `map`. It gives every map that is to be
saved its pending changes, and answers `CloseSession`. It remembers nothing that could not be reckoned again from the map.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from probe.maps.diff import Cache
from probe.maps.model import PlayfieldMap
from probe.maps.revisions import base_of, close, recorded
from probe.steps import Effect, SaveMap

Step = Callable[[Any, Any, float], tuple[Any, tuple[Effect, ...]]]


@dataclass(frozen=True)
class CloseSession:
    """Make a revision of all that changed since the last one. `time`: RFC 3339 UTC text."""

    time: str
    reason: str


class Recording:
    """A step that keeps a map's pending changes in line. The base map and the changes made are kept only to save time."""

    def __init__(self, step: Step) -> None:
        self._step = step
        self._cache: Cache = {}
        self._base: PlayfieldMap | None = None
        self._based_on: object = None

    def __call__(self, state: Any, given: Any, now_s: float) -> tuple[Any, tuple[Effect, ...]]:
        """The state after an input, its map with pending changes, and the effects with that map."""
        if isinstance(given, CloseSession):
            return self._closed(state, given)
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
        if self._base is None or self._based_on is not m.revisions:
            self._base, self._based_on = base_of(m), m.revisions
            self._cache.clear()
        return self._base

    @staticmethod
    def _closed(state: Any, given: CloseSession) -> tuple[Any, tuple[Effect, ...]]:
        m = close(state.map, time=given.time, reason=given.reason)
        return (state, ()) if m is state.map else (replace(state, map=m), (SaveMap(m),))
