"""What is to be seen of the picture: the places in it, and everything of the one that is chosen."""

from __future__ import annotations

from device_protocol.lightness import DUTY, linear_to_srgb
from device_protocol.values import Colour
from probe.document.model import Place, Position, shown_number
from probe.lighting.advice import advise, tint_at
from probe.lighting.choosing import nearest
from probe.lighting.lengths import grid_square, shown_length
from probe.lighting.levels import current_lines
from probe.lighting.picture_keys import EntryUse, MovePlace, PickPlace
from probe.lighting.picture_state import PictureState, target_light
from probe.lighting.plastics import SeenWord, cannot, colour_words, seen, strength
from probe.task.views import LIT_SIGN, MARK_SIGN, Line, PictureView, Spot, TaskView

_PROMPTS = {
    EntryUse.POSITION: 'Position (C7, or 10 1/4", 22", or 260, 570):',
    EntryUse.LEVEL: "Level 0 to 255, or a share (40 %); empty: as its group:",
    EntryUse.COLOUR: "Colour RRGGBB at full level, or warm, neutral, cool; empty: as its group:",
    EntryUse.DEPTH: "Depth of the pixel below the surface; empty: not measured:",
    EntryUse.FIND: "Find a place, area, group or lamp number:",
}
_BAR = 20


def view(s: PictureState) -> TaskView:
    """The playfield, and the chosen place beside it."""
    is_open = s.entry is not EntryUse.NONE
    return TaskView(
        head=f"{s.map.machine.name} · {s.area or 'whole playfield'} · lit: {s.mode.value}",
        board=s.board.words if s.board.here else "no board: nothing is lit",
        above=(Line(_PROMPTS[s.entry], "bold", wrap=True),) if is_open else (),
        prompt=">" if is_open else "",
        typed=s.typed if is_open else None,
        details=about_place(s),
        long=True,
        below=tuple(Line(line.text, line.style, wrap=True) for line in current_lines(s.shown)),
        message="; ".join(word for word in (s.board.refused, s.message) if word),
        unsaved=s.unsaved,
        picture=_picture(s),
    )


def swatch(colour: Colour) -> str:
    """How a duty at full level looks on a screen, as #RRGGBB."""
    red, green, blue = (
        linear_to_srgb(min(1.0, (v + colour.white) / 255)) for v in (colour.red, colour.green, colour.blue)
    )
    return f"#{red:02X}{green:02X}{blue:02X}"


def bar(level: int, *, plain_ascii: bool = False) -> str:
    """A level as a bar of twenty cells."""
    filled = round(_BAR * level / 255)
    return ("#" * filled).ljust(_BAR, ".") if plain_ascii else ("█" * filled).ljust(_BAR, "░")


def about_place(s: PictureState) -> tuple[Line, ...]:
    """Everything of the chosen place."""
    place = s.here
    if place is None:
        return (Line("No place yet: name places in the walk first."),)
    level, colour = target_light(s)
    whose = "group" if s.whole and place.group else "place"
    own = place.level is not None or bool(place.colour)
    depth = "not measured" if place.depth_mm is None else shown_length(place.depth_mm, s.unit)
    fade = s.map.fade
    tint = tint_at(s.map, place)
    lines = [
        *_named(s, place),
        Line(f"{bar(level, plain_ascii=s.plain_ascii)} level {level} ({100 * level / 255:.0f} %)"),
        Line(
            f"keys change the {whose}; sent as {DUTY[level]} of 255" + ("" if own else "; nothing noted for it alone"),
            wrap=True,
        ),
        Line(f" {colour_words(colour, tint)} {colour.text}", swatch=swatch(colour)),
        *_behind(s, place),
        Line(f"depth {depth}" + (", diffuser" if place.diffuser else "")),
        Line(f"fade {fade.rise_ms}/{fade.fall_ms} ms" if fade else "no fade: lamps switch at once"),
    ]
    if s.held_place is not None:
        words = "compared with" if s.comparing else "kept to compare:"
        lines.append(Line(f"{words} {s.held_place.label}"))
    return (*lines, Line(f"advice: {advise(s.map, place).advice} (taste)", "dim"))


def _behind(s: PictureState, place: Place) -> tuple[Line, ...]:
    """What is seen of its colour behind the insert, and what no red, green and blue can make there."""
    tint, colour = tint_at(s.map, place), target_light(s)[1]
    if tint is None or colour.is_dark:
        return ()
    shown = SeenWord("", seen(colour, tint), strength(colour, tint)).words
    poor = cannot(colour, tint)
    return (Line(f"seen behind {tint} plastic: {shown} (a model)"), *((Line(poor, wrap=True),) if poor else ()))


def _named(s: PictureState, place: Place) -> list[Line]:
    """What it is, whether it is lit, its pixels, lamps, group and position."""
    lit = place.id in s.lit_places
    state = "● LIT" if lit else ("○ not lit" if s.board.here else "○ no board")
    if s.plain_ascii:
        state = state.replace("●", "@").replace("○", "o")
    several = len(s.map.chains) > 1
    pixels = [
        f"{s.map.chain(chain).name} {shown_number(number)}" if several else shown_number(number)
        for chain, number in s.map.pixels_at.get(place.id, ())
    ]
    lines = [
        Line(place.label, "bold"),
        Line(state, "bold" if lit else ""),
        Line(" · ".join(word for word in (place.area, place.kind.value) if word)),
        Line(f"pixel {', '.join(pixels)}" if pixels else "no pixel lights it yet"),
    ]
    if place.lamps:
        lines.append(Line(f"lamp {', '.join(map(str, place.lamps))}"))
    if place.group:
        lines.append(Line(f"group {place.group}"))
    if place.position is None:
        return [*lines, Line("no position: F9, P points; F5, P types")]
    x, y = shown_length(place.position.x_mm, s.unit), shown_length(place.position.y_mm, s.unit)
    guess = ", guessed" if place.position.guessed else ""
    return [*lines, Line(f"{x} from the left, {y} from you ({grid_square(place.position)}{guess})")]


def _picture(s: PictureState) -> PictureView:
    lit = [s.map.place_by_id[name] for name in s.lit_places if name in s.map.place_by_id]
    spots = [Spot(place.position, LIT_SIGN, "lit", place.label) for place in lit if place.position is not None]
    for place, sign in ((s.held_place, "H"), (s.here, MARK_SIGN)):
        if place is not None and place.position is not None and place.id not in s.lit_places:
            spots.append(Spot(place.position, sign, "held"))
    map_, here = s.map, s.here
    middle = Position(x_mm=map_.machine.width_mm / 2, y_mm=map_.machine.length_mm / 2)
    return PictureView(
        tuple(sorted(spots, key=lambda spot: (spot.look, spot.position.x_mm, spot.position.y_mm))),
        point=lambda x_mm, y_mm: PickPlace(found) if (found := nearest(map_, x_mm, y_mm)) is not None else None,
        put=MovePlace,
        start=(here.position or middle) if here is not None else None,
        map_legend=True,
        area=s.area,
        route=s.route,
        grid=s.grid,
        wide=True,
        seen_on_request=True,
    )
