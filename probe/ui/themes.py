"""The colours of the screen. Settings and the command palette pick a theme by name."""

from __future__ import annotations

from textual.theme import Theme

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
    dark=False,
)
"""For daylight."""

OURS = (DARK_SHOP, HIGH_CONTRAST, LIGHT_ROOM)
