"""Screens that are tested without a terminal: waited for exactly, and drawn where somebody looks.

Textual's pilot waits after each key until the processor has been at rest for a while: 40 ms at least, and a second on a
busy machine. Here it waits until every queue of messages is empty and the runtime has nothing left to do. Only what is
beyond the program's own work (a board that is silent, a disk that hangs, a thread) is waited for by the clock, as before.

What a program without a terminal draws goes nowhere. It is drawn once for each screen that comes up, once at the end (see
`draw`), and wherever a test asks for the picture; in the profile `full` whatever changed is drawn each time the program
comes to rest, as a slow terminal would show it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import suppress
from time import monotonic, process_time
from typing import Any
from weakref import WeakSet

import textual.app
import textual.pilot
from hypothesis import settings
from textual._context import active_app, visible_screen_stack
from textual._queue import Queue
from textual.app import App
from textual.css.model import RuleSet
from textual.css.stylesheet import Stylesheet
from textual.css.types import CSSLocation
from textual.message_pump import MessagePump
from textual.pilot import Pilot
from textual.screen import Screen

from tests.support.examples import FULL

AT_REST_S = 0.02
MOST_S = 1.0
"""As Textual's own: at rest for so long counts as done, and after so long it is not waited for any longer."""
_drawn: WeakSet[Screen[Any]] = WeakSet()
_refresh_and_draw = Screen._compositor_refresh
_parse_rules = Stylesheet._parse_rules
_rules: dict[frozenset[tuple[str, str]], dict[tuple[object, ...], list[RuleSet]]] = {}


def draw(app: App[Any]) -> None:
    """Draw the screen that is up, as a terminal would show it."""
    app.screen._compositor.render_strips()


def _refresh(screen: Screen[Any]) -> None:
    """As Textual's, without the picture where nobody looks; in the profile `full` what is to be drawn is remembered."""
    app = screen.app
    at_rest_only = settings().max_examples >= FULL
    if not app.is_headless or screen is not app.screen or (screen not in _drawn and not at_rest_only):
        _drawn.add(screen)
        _refresh_and_draw(screen)
        return
    visible_screen_stack.set(app._background_screens)
    if not at_rest_only:
        screen._compositor._dirty_regions.clear()
    screen._dirty_widgets.clear()
    app._update_mouse_over(screen)


def _pumps(app: App[Any]) -> Iterator[MessagePump]:
    yield app
    for screen in app.screen_stack:
        yield from screen.walk_children(with_self=True)


def _is_waiting(pump: MessagePump) -> bool:
    """Whether it has worked off its messages and waits for the next."""
    if not pump.is_running or pump._closed:
        return True
    queue: Queue[Any] = pump._message_queue
    return (
        queue.empty() and not pump._next_callbacks and any(not waiter.done() for waiter in queue.ready_event._waiters)
    )


def _has_to_draw(screen: Screen[Any]) -> bool:
    return bool(
        screen._layout_required
        or screen._scroll_required
        or screen._repaint_required
        or screen._recompose_required
        or screen._dirty_widgets
        or screen._callbacks
    )


async def drawn(app: App[Any], *, until_s: float) -> bool:
    """Work off all messages and draw what they change; whether that was done by then (`time.monotonic`)."""
    turns = 0
    while monotonic() < until_s and app.screen_stack and not app._exit:
        turns += 1
        await asyncio.sleep(0 if turns % 50 else 0.001)
        if not all(map(_is_waiting, _pumps(app))):
            continue
        if app._resize_event is not None:  # Textual looks at it after a delay
            await asyncio.sleep(0.005)
            continue
        if app._batch_count:
            return True
        if _has_to_draw(app.screen):
            app.screen._on_timer_update()
        elif app.is_headless and app.screen._compositor._dirty_regions:
            _refresh_and_draw(app.screen)
        else:
            return True
    return False


async def until_idle(min_sleep: float = AT_REST_S, max_sleep: float = MOST_S) -> None:
    """In place of Textual's `wait_for_idle`."""
    app = active_app.get()
    started_s = monotonic()
    while await drawn(app, until_s=started_s + max_sleep):
        if await _others_rest(app) and all(map(_is_waiting, _pumps(app))) and not _has_to_draw(app.screen):
            break
    if (rest_s := started_s + min_sleep - monotonic()) > 0:
        await asyncio.sleep(rest_s)


async def _others_rest(app: App[Any]) -> bool:
    """Whether the board, the disk and jobs have nothing left to do, or nothing has been computed for a while."""
    computed_s = process_time()
    with suppress(TimeoutError):
        async with asyncio.timeout(AT_REST_S):
            if hasattr(app, "settled"):
                await app.settled()
            while any(worker.is_running for worker in app.workers):  # noqa: ASYNC110 - Textual tells nobody when a worker ends
                await asyncio.sleep(0.001)
            return True
    return process_time() - computed_s < AT_REST_S / 4


async def _pause(pilot: Pilot[Any], delay: float | None = None) -> None:
    """In place of `Pilot.pause`: also what came up within the delay is worked off."""
    await until_idle(0)
    if delay is not None:
        await asyncio.sleep(delay)
        await until_idle(0)


def _parsed_rules(
    stylesheet: Stylesheet,
    css: str,
    read_from: CSSLocation,
    is_default_rules: bool = False,
    tie_breaker: int = 0,
    scope: str = "",
) -> list[RuleSet]:
    """As Textual's, which keeps what it parsed for one program: here for all of a process, by the theme's variables."""
    theme = frozenset(stylesheet._variables.items())
    rules = _rules.setdefault(theme, {})
    key = (css, read_from, is_default_rules, tie_breaker, scope)
    if key not in rules:
        rules[key] = _parse_rules(stylesheet, css, read_from, is_default_rules, tie_breaker, scope)
    return rules[key]


def install() -> None:
    """For every test of this process."""
    Stylesheet._parse_rules = _parsed_rules  # type: ignore[method-assign, assignment]
    Pilot.pause = _pause  # type: ignore[method-assign, assignment]
    Screen._compositor_refresh = _refresh  # type: ignore[method-assign, assignment]
    textual.app.wait_for_idle = until_idle  # type: ignore[attr-defined]
    textual.pilot.wait_for_idle = until_idle  # type: ignore[attr-defined]
