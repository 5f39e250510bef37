"""What the screens of light say, as content: the chosen place, the current, the legend, results."""

from __future__ import annotations

from textual.content import Content

from device_protocol.lightness import DUTY, linear_to_srgb
from device_protocol.values import Colour
from probe.document.model import PlayfieldMap, shown_number
from probe.lighting.advice import advise
from probe.lighting.lengths import grid_square, shown_length
from probe.lighting.levels import current_lines
from probe.lighting.lighting import Lighting
from probe.lighting.picture_state import PictureWork, target_light
from probe.ui.text import plain
from probe.ui.widgets.picture import legend

_BAR = 20


def swatch(colour: Colour) -> Content:
    """A colour at full level as a block, and its text."""
    shown = [linear_to_srgb(min(1.0, (v + colour.white) / 255)) for v in (colour.red, colour.green, colour.blue)]
    red, green, blue = shown
    return Content("    ").stylize(f"on #{red:02X}{green:02X}{blue:02X}").append(Content(f" {colour.text}"))


def bar(level: int, *, plain_ascii: bool = False) -> str:
    """A level as a bar of twenty cells."""
    filled = round(_BAR * level / 255)
    return ("#" * filled).ljust(_BAR, ".") if plain_ascii else ("█" * filled).ljust(_BAR, "░")


def about_place(work: PictureWork, *, plain_ascii: bool = False) -> Content:
    """Everything of the chosen place."""
    place = work.here
    if place is None:
        return Content("No place yet: name places in the walk first.")
    m = work.map
    lit = place.id in work.lit_places
    state = "● LIT" if lit else ("○ not lit" if work.board.here else "○ no board")
    if plain_ascii:
        state = state.replace("●", "@").replace("○", "o")
    pixels = m.pixels_at.get(place.id, ())
    several = len(m.chains) > 1
    named = [f"{m.chain(c).name} {shown_number(n)}" if several else shown_number(n) for c, n in pixels]
    level, colour = target_light(work)
    whose = "group" if work.whole and place.group else "place"
    own = place.level is not None or bool(place.colour)
    lines = [
        plain(place.label, "bold"),
        Content(state).stylize("bold" if lit else ""),
        plain(" · ".join(word for word in (place.area, place.kind.value) if word)),
        plain(f"pixel {', '.join(named)}" if named else "no pixel lights it yet"),
    ]
    if place.lamps:
        lines.append(Content(f"lamp {', '.join(map(str, place.lamps))}"))
    if place.group:
        lines.append(plain(f"group {place.group}"))
    if place.position is not None:
        x, y = shown_length(place.position.x_mm, work.unit), shown_length(place.position.y_mm, work.unit)
        guess = ", guessed" if place.position.guessed else ""
        lines.append(Content(f"{x} from the left, {y} from you ({grid_square(place.position)}{guess})"))
    else:
        lines.append(Content("no position: F2 points, F3 types"))
    lines += [
        Content(f"{bar(level, plain_ascii=plain_ascii)} level {level} ({100 * level / 255:.0f} %)"),
        Content(f"keys change the {whose}; duty {DUTY[level]}" + ("" if own else "; says nothing itself")),
        swatch(colour),
    ]
    depth = "not measured" if place.depth_mm is None else shown_length(place.depth_mm, work.unit)
    lines.append(Content(f"depth {depth}" + (", diffuser" if place.diffuser else "")))
    fade = m.fade
    lines.append(Content(f"fade {fade.rise_ms}/{fade.fall_ms} ms" if fade else "no fade: lamps switch at once"))
    if work.held_place is not None:
        words = "compared with" if work.comparing else "kept to compare:"
        lines.append(plain(f"{words} {work.held_place.label}"))
    lines.append(plain(f"advice: {advise(m, place).advice} (taste)", "dim"))
    return Content("\n").join(lines)


def current_line(lighting: Lighting) -> Content:
    """What is drawn, of what may be, for each output that lights something."""
    return Content("\n").join([plain(line.text, line.style) for line in current_lines(lighting.chains)])


def legend_line(m: PlayfieldMap, *, plain_ascii: bool = False) -> Content:
    """What the signs mean."""
    return Content(legend((place.kind.value for place in m.places), plain=plain_ascii)).stylize("dim")
