"""The colours of the screen. Settings and the command palette pick a theme by name."""

from __future__ import annotations

from textual.theme import Theme

_FACE = {
    "face-text": ("#D8D8D8", "#FFFFFF", "#101010"),
    "face-muted": ("#8C8C8C", "#FFFFFF", "#585858"),
    "face-key": ("#E69F00", "#FFFF00", "#7A4B00"),
    "face-edge": ("#646464", "#FFFFFF", "#8A8A8A"),
    "face-field": ("#66625A", "#9A9A9A", "#8F8878"),
    "face-part": ("#A39A86", "#D0D0D0", "#6A624F"),
    "face-route": ("#4F88B0", "#C8C8C8", "#3A7CA5"),
    "face-other": ("#86A0B0", "#C8C8C8", "#5E7C8F"),
    "face-here": ("#8FD0FF", "#FFFFFF", "#00466F"),
    "face-guess": ("#9C8CC8", "#C8C8C8", "#6A53A0"),
    "face-none": ("#7C7C7C", "#C8C8C8", "#6E6E6E"),
    "face-trouble": ("#FF7A3C", "#FFB000", "#A83200"),
    "face-changed": ("#E69F00", "#FFB000", "#7A4B00"),
    "face-lit": ("#FFE94A", "#FFFF00", "#8A2F00"),
}
"""Roles of the picture and of what stands beside it: in the dark shop, in high contrast, in a light room."""


def _face(at: int) -> dict[str, str]:
    return {role: colours[at] for role, colours in _FACE.items()}


DARK_SHOP = Theme(
    name="dark-shop",
    primary="#56B4E9",
    secondary="#0072B2",
    warning="#F0E442",
    error="#D55E00",
    success="#56B4E9",
    accent="#E69F00",
    foreground="#D8D8D8",
    background="#000000",
    surface="#0A0A0A",
    panel="#161616",
    variables=_face(0),
    dark=True,
)
"""For a dark room: a black screen that does not light the playfield."""

HIGH_CONTRAST = Theme(
    name="high-contrast",
    primary="#FFFFFF",
    secondary="#FFFFFF",
    warning="#FFFF00",
    error="#FFB000",
    success="#FFFFFF",
    accent="#FFFF00",
    foreground="#FFFFFF",
    background="#000000",
    surface="#000000",
    panel="#000000",
    variables={
        **_face(1),
        "text-muted": "#FFFFFF",
        "text-disabled": "#FFFFFF",
        "foreground-muted": "#FFFFFF",
        "foreground-disabled": "#FFFFFF",
        "block-cursor-foreground": "#000000",
        "block-cursor-background": "#FFFF00",
        "block-cursor-text-style": "bold",
        "input-cursor-background": "#FFFF00",
        "input-cursor-foreground": "#000000",
        "footer-key-foreground": "#FFFF00",
        "border": "#FFFFFF",
        "border-blurred": "#FFFFFF",
        "scrollbar": "#FFFFFF",
    },
    dark=True,
)
"""White and yellow on black, nothing muted: text keeps 7:1 and more (WCAG 2.2, 1.4.6)."""

LIGHT_ROOM = Theme(
    name="light-room",
    primary="#004D7A",
    secondary="#0072B2",
    warning="#7A4B00",
    error="#9C2F00",
    success="#004D7A",
    accent="#7A4B00",
    foreground="#101010",
    background="#FFFFFF",
    surface="#F4F4F4",
    panel="#E4E4E4",
    variables=_face(2),
    dark=False,
)
"""For daylight."""

OURS = (DARK_SHOP, HIGH_CONTRAST, LIGHT_ROOM)

FACE_DEFAULTS = _face(0)
"""What the roles are in a theme that is not ours."""
