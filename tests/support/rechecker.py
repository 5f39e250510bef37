"""A scripted person in a recheck: sees what the wiring shows, answers what the screen asks, in the program's inputs.

Physical pixels name where their light is seen by a place's id, or by `new:` and the label that the person would give it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from device_protocol.board import ChainWiring, PhysicalPixel
from device_protocol.values import Colour
from probe.document.model import Chain, PixelState, PlayfieldMap
from probe.document.operations import folded
from probe.recheck.colours import LOOK_COLOURS, UNKNOWN
from probe.recheck.engine.codes import UNLIT
from probe.recheck.keys import Quick, SayQuick
from probe.recheck.state import Does, Rechecking, RecheckItem, RecheckStage
from probe.task.events import Choose, Take, Typed
from probe.task.light import Light, Pixels

NEW = "new:"
NOW = "2026-03-01T19:30:00Z"


def colour_of(light: Colour) -> int:
    """The number of the look colour that a light is, or UNLIT."""
    values = (light.red, light.green, light.blue)
    top = max(values)
    if top == 0:
        return UNLIT
    parts = tuple(int(2 * value > top) for value in values)
    return next(i for i, colour in enumerate(LOOK_COLOURS) if colour.parts == parts)


def seen(lights: Iterable[tuple[str | None, Colour]]) -> dict[str, list[int]]:
    """What shines, as colours by place."""
    found: dict[str, list[int]] = {}
    for place, light in lights:
        colour = colour_of(light)
        if place is not None and colour != UNLIT:
            found.setdefault(place, []).append(colour)
    return found


Key = Choose | Take | Typed | SayQuick


def keys_for(state: Rechecking, shines: dict[str, list[int]]) -> list[Key]:
    """The inputs with which this person answers what is asked now."""
    match state.stage:
        case RecheckStage.OFFER | RecheckStage.DECLARE | RecheckStage.DONE:
            return [Take(NOW)]
        case RecheckStage.LOOK:
            return _look(state, shines)
        case RecheckStage.COLOUR:
            item = state.pointed
            assert item is not None
            assert state.entries is not None
            elsewhere = {state.entries.pixels[e].place for those in state.entries.foreign for e in those}
            if any(place in elsewhere for place in shines):
                return _choose(state, next(i for i, x in enumerate(state.items) if x.does is Does.OTHER_CHAIN))
            here = tuple(sorted(set(item.at.seen(shines.get(_place_of(state, item), []))) - {UNLIT})) or (UNLIT,)
            return _choose(state, next(i for i, x in enumerate(state.items) if x.colours == here))
        case RecheckStage.STOP:
            return [Take(NOW)]
        case RecheckStage.PROBE:
            return _probe(state, shines)
        case _:
            raise AssertionError(f"nothing is asked: {state.stage}")


def _choose(state: Rechecking, index: int) -> list[Key]:
    by = index - state.chosen
    return [*([Choose(by)] if by else []), Take(NOW)]


def _place_of(state: Rechecking, item: RecheckItem) -> str:
    if not item.entries:
        name = state.names[item.numbers[0]]
        return name.place or f"{NEW}{name.label}"
    assert state.entries is not None
    return state.entries.pixels[item.entries[0]].place or ""


def _look(state: Rechecking, shines: dict[str, list[int]]) -> list[Key]:
    if state.gathered:
        return _choose(state, 0)
    listed = set()
    for index, item in enumerate(state.items):
        if item.does is not Does.DIFFERS:
            continue
        place = _place_of(state, item)
        listed.add(place)
        shown, told = item.at.seen(shines.get(place, [])), item.at.seen(item.colours)
        if set(shown) - {UNLIT} != set(told) - {UNLIT}:
            return _choose(state, index)
    assert state.entries is not None
    listed |= {p for p, at in state.entries.at_place.items() if state.entries.seen[at[0]] is UNKNOWN}
    named = {name.place or f"{NEW}{name.label}" for name in state.names.values()}
    if any(place not in listed | named for place in shines):
        return [SayQuick(Quick.EXTRA_LIGHT)]
    return _choose(state, 0)


def _probe(state: Rechecking, shines: dict[str, list[int]]) -> list[Key]:
    if not shines:
        return [SayQuick(Quick.NOTHING_LIT)]
    place = next(iter(shines))
    assert state.entries is not None
    if place in state.entries.at_place:
        label = state.map.place_by_id[place].label
        for index, item in enumerate(state.items):
            if item.does is Does.AT_PLACE and item.name is not None and item.name.place == place:
                return _choose(state, index)
        return [Typed(label), Take(NOW)]
    label = place.removeprefix(NEW)
    if place in state.map.place_by_id:
        label = state.map.place_by_id[place].label
    for index, item in enumerate(state.items):
        if item.does is Does.NEW_PLACE and item.name is not None and folded(item.name.label) == folded(label):
            return _choose(state, index)
    return [Typed(label), Take(NOW)]


def wiring_of_chain(map_: PlayfieldMap, chain: Chain) -> ChainWiring:
    """The chain wired as the map says; what gives no light that can be seen has no place."""
    return ChainWiring(
        tuple(
            PhysicalPixel(
                pixel.place if pixel.state is PixelState.PLACED else None,
                byte_order=chain.order,
                emits=pixel.state in (PixelState.PLACED, PixelState.HIDDEN),
            )
            for pixel in chain.pixels
        )
    )


def new_pixels(*labels: str, byte_order: str = "GRB") -> tuple[PhysicalPixel, ...]:
    """Pixels to splice in whose light is seen at places that the map does not have."""
    return tuple(PhysicalPixel(f"{NEW}{label}", byte_order) for label in labels)


def agrees(map_: PlayfieldMap, chain_id: str, wiring: ChainWiring) -> list[str]:
    """Where a map differs from the wiring: one line for each number that is wrong."""
    wrong: list[str] = []
    pixels = map_.chain(chain_id).pixels
    if len(pixels) != len(wiring):
        wrong.append(f"{len(pixels)} pixels in the map, {len(wiring)} in the wiring")
    for number, (pixel, real) in enumerate(zip(pixels, wiring, strict=False)):
        place = map_.place_by_id.get(pixel.place or "")
        shown = pixel.place if place is not None and pixel.state is PixelState.PLACED else None
        if real.place is not None and real.place.startswith(NEW):
            label = real.place.removeprefix(NEW)
            if place is None or folded(place.label) != folded(label):
                wrong.append(f"{number}: {place.label if place else pixel.state.value}, really {label}")
        elif real.emits and real.place != shown:
            wrong.append(f"{number}: {shown}, really {real.place}")
        elif not real.emits and shown is not None:
            wrong.append(f"{number}: {shown}, really dark")
    return wrong


def lights_of(wiring: ChainWiring, frame: Sequence[Colour]) -> list[tuple[str | None, Colour]]:
    """What every physical pixel shows when these colours have been sent, first pixel first."""
    dark = Colour(0, 0, 0)
    return [(p.place, p.shows(frame[n] if n < len(frame) else dark)) for n, p in enumerate(wiring)]


def frame_of(light: Light | None) -> tuple[Colour, ...]:
    """The colours that a board sends for a light, first pixel first."""
    if not isinstance(light, Pixels):
        return ()
    return (Colour(0, 0, 0),) * light.first + light.colours
