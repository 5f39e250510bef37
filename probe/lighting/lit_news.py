"""What news of the board and of the disk means to the activities of light: the same for each of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import Field, replace
from typing import Any, ClassVar, Protocol, TypeVar

from probe.document.model import PlayfieldMap
from probe.lighting.lighting import Lighting, set_ups
from probe.task.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    BoardView,
    Effect,
    News,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    Shown,
    board_view,
)


class LitState(Protocol):
    """A frozen state of an activity that lights places."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    @property
    def map(self) -> PlayfieldMap:
        """The map."""

    @property
    def board(self) -> BoardView:
        """The board, as far as the news say."""

    @property
    def lighting(self) -> Lighting:
        """What was asked for and what is lit."""

    @property
    def message(self) -> str:
        """The words for the person."""

    @property
    def unsaved(self) -> str:
        """Why the map is not on disk; empty if it is."""


S = TypeVar("S", bound=LitState)


def told(state: S, news: News, relit: Callable[[S], tuple[S, tuple[Effect, ...]]]) -> tuple[S, tuple[Effect, ...]]:
    """The state after news, and what is to be done. `relit` gives a state and the effects that light what it wants."""
    match news:
        case BoardHere(identity):
            after, effects = relit(replace(state, board=board_view(state.board, news), lighting=Lighting()))
            return after, (*set_ups(state.map, identity), *effects)
        case BoardGone():
            lost = replace(state, board=board_view(state.board, news), lighting=state.lighting.lost())
            return lost, (RingBell(),)
        case BoardDark():
            return relit(replace(state, lighting=state.lighting.lost()))
        case Shown(what):
            return replace(state, lighting=state.lighting.answered(what)), ()
        case NotShown(_, why):
            return replace(state, lighting=state.lighting.lost(), message=why), (RingBell(),)
        case Saved():
            return (replace(state, unsaved=""), ()) if state.unsaved else (state, ())
        case NotSaved(why):
            return replace(state, unsaved=why), (RingBell(),)
        case _:
            board = board_view(state.board, news)
            return (state, ()) if board is state.board else (replace(state, board=board), ())
