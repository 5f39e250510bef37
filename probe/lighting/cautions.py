"""What to read before light is shown and judged."""

from typing import Final

CAUTIONS: Final = (
    "Full white in the dark hurts eyes: begin dim, and do not stare into a bare pixel.",
    "Flashing light harms some people: places alternate once a second at most; settings offer steady light.",
    "Glass off, balls out, playfield down: look from where the player stands, in the room as it will be.",
    "Before you move a pixel or fit a diffuser: power off, unplug at the wall, wait.",
    "Advice on colour is taste, and the light model knows no shadows: your eye decides.",
)
