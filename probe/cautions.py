"""Cautions in plain words, as data: all of them stand here and nowhere else.

`CAUTIONS` are shown where power is planned, before any step that opens a joint, and before power on; the lists below
them belong to one page each. They do not replace local rules, the supply's own papers or a qualified person.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from probe.frozen import frozen


class Moment(StrEnum):
    """When a caution is shown."""

    PLANNING = "planning power"
    OPENING = "before opening a joint"
    POWERING = "before power on"


@frozen
class Caution:
    """One caution: a short fixed code, a line to read, and the moments it belongs to."""

    code: str
    text: str
    moments: frozenset[Moment]


_ALL: Final = frozenset(Moment)
_PLAN: Final = frozenset({Moment.PLANNING})
_OPEN: Final = frozenset({Moment.OPENING})
_PLAN_POWER: Final = frozenset({Moment.PLANNING, Moment.POWERING})

CAUTIONS: Final[tuple[Caution, ...]] = (
    Caution(
        "unplug",
        "Pull the machine's plug out of the wall before you touch its wiring. The switch alone does not make it safe.",
        frozenset({Moment.OPENING, Moment.PLANNING}),
    ),
    Caution(
        "stored-charge",
        "Wait some minutes after unplugging: capacitors stay charged. The coil supply is tens of volts, and many machines "
        "have a high display supply as well.",
        frozenset({Moment.OPENING, Moment.PLANNING}),
    ),
    Caution(
        "own-supply-off",
        "Switch the pixels' own supply off and unplug it too; it does not hang on the machine's switch.",
        _OPEN,
    ),
    Caution(
        "polarity",
        "Find plus and ground with a meter, not by wire colour, before the first power-up. Swapped, they can destroy every "
        "pixel and the board.",
        _ALL,
    ),
    Caution(
        "fuse",
        "Put a fuse in every feed, at the supply's end, no larger than the thinnest wire behind it can take. A blown fuse "
        "has a cause: find it first, and never bridge a fuse or fit a larger one.",
        _PLAN_POWER,
    ),
    Caution(
        "usb-apart",
        "Never connect the computer's USB 5 V to the pixel supply. Ground is the only wire they share, and only once you "
        "know how the machine is grounded.",
        _ALL,
    ),
    Caution(
        "no-hot-plug",
        "Do not plug or unplug pixels with power on. When joining wires: ground first, then plus, then data; when taking "
        "apart, the other way round.",
        frozenset({Moment.OPENING, Moment.POWERING}),
    ),
    Caution(
        "wall-side",
        "Anything on the wall side of a supply is work for a qualified person under your local rules. Its terminals "
        "need a cover.",
        _PLAN,
    ),
    Caution(
        "metal-tools",
        "No metal tool or meter tip under the playfield while the game is on: one slip puts coil voltage on logic.",
        frozenset({Moment.OPENING, Moment.POWERING}),
    ),
    Caution(
        "hot-solder",
        "Solder with eye protection and fresh air, nothing powered, and let joints cool. Wash your hands after "
        "leaded solder. Count offcuts and loose strands before power comes back.",
        _OPEN,
    ),
    Caution(
        "staples",
        "Put staples beside wires, never across them.",
        _OPEN,
    ),
    Caution(
        "smell-heat",
        "Smell, heat or ticking: power off, unplug, and only then measure.",
        frozenset({Moment.POWERING}),
    ),
    Caution(
        "hint",
        "This plan is a hint, not a licence. It cannot see your wiring; where it and a local rule or a maker's paper "
        "differ, they are right.",
        _PLAN_POWER,
    ),
)


def cautions(moment: Moment) -> tuple[Caution, ...]:
    """The cautions for a moment, in the order to show them."""
    return tuple(caution for caution in CAUTIONS if moment in caution.moments)


# -- lists of one page ----------------------------------------------------------------------------------------------

# The help screen.
HELP: Final = (
    "Unplug the machine at the wall before you touch wiring; off at the switch is not unplugged. Wait: charge stays.",
    "Inside are mains and coil supplies. If you are not trained for live work, leave it to a qualified person,"
    " and follow your local rules.",
    "No metal tools or meter tips under the playfield with the game on.",
    "The pixels have their own fused supply. Never join it to the laptop's USB 5 V; join grounds only.",
    "Check plus and minus with a meter before the first power-up. Do not plug pixels in or out under power.",
    "Smell, heat or ticking: power off, unplug, then measure.",
    "Flashing light harms some people: nothing here flashes more than 3 times a second; settings offer steady light.",
    "Hot solder: eye protection, fresh air, nothing dripping on wiring.",
    "This program gives hints. It cannot see your wiring.",
)

# The sheet for the cabinet, on paper.
CABINET: Final = (
    "Unplug the machine at the wall before you touch wiring: off at the switch is not unplugged. Wait some minutes.",
    "Mains, coil volts (up to about 70 V DC, in some more) and high display volts are inside. If you are not trained for "
    "live work, leave it to a qualified person, and follow your local rules.",
    "No metal tools or meter tips under the playfield with the game on. Balls out, playfield on its proper prop.",
    "The pixels have their own fused supply: unplug it too. Never join it to a laptop's USB 5 V; join grounds only.",
    "A fuse in every feed, no larger than its wire can take. A blown fuse has a reason.",
    "Check plus and minus with a meter before power. Join ground first, then plus, then data; take apart the other way.",
    "Smell, heat or ticking: power off, unplug, then measure. Hot solder: eye protection, fresh air, away from wiring.",
    "Flashing light harms some people: keep test patterns at 3 flashes a second or less.",
    "This sheet says what was known when it was made. It cannot see your wiring.",
)

# Before light is shown and judged.
LIGHT: Final = (
    "Full white in the dark hurts eyes: begin dim, and do not stare into a bare pixel.",
    "Flashing light harms some people: places alternate once a second at most; settings offer steady light.",
    "Glass off, balls out, playfield down: look from where the player stands, in the room as it will be.",
    "Before you move a pixel or fit a diffuser: power off, unplug at the wall, wait.",
    "Advice on colour is taste, and the light model knows no shadows: your eye decides.",
)

# Where lamps of the running game are watched.
GAME_ON: Final = (
    "The game is on: keep hands, tools and meter tips out from under the playfield.",
    "Lamp voltage reaches the board through its input circuit only, never straight.",
)

# Before a board is checked.
BOARD_CHECK: Final = (
    "The board lights single pixels dimly and makes at most 3 flashes a second. Pixels on their own fused supply; the"
    " machine unplugged while you wire."
)

# In a fault search: before joints are touched, metered, left to warm up, and soldered.
OFF_FIRST: Final = "Pixel supply off and machine unplugged before you touch it. Wait some minutes."
FLEX: Final = (
    "Pixels on their own supply and the game unplugged. Wood or plastic only: no metal tool near anything powered."
)
SUPPLY_ALONE: Final = (
    "Chain unplugged from its supply; then the supply alone goes on. Tips at its low-volt terminals only, apart from each"
    " other; its wall side stays covered: that is for a qualified person. Off again before the chain goes back."
)
METERING: Final = (
    "Probe tips touch one pad only. Game unplugged, pixels on their own supply. Mains and coil parts: keep out."
)
SOAK: Final = (
    "Stay in the house: supply and wires carry the ceiling's current all the time. Smell, heat or ticking: F3 and off."
)
SOLDERING: Final = (
    "Power off, unplugged at the wall, some minutes' wait: charge stays.",
    "Ground goes on first and comes off last. Eye protection, fresh air, nothing dripping on wiring; joints stay hot.",
    "Count strands and offcuts before power comes back. A fuse that blew had a reason: same value only.",
    "Mains and coil wiring: only who is trained for it, by the local rules.",
)
