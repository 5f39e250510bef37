"""A model of a wired chain: supply, board, plugs, joints, chips, settings and the game's side.

Volts, ohms, amperes, metres throughout. Pixel i hangs behind joint i; joint 0 comes from the board.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum

from device_protocol.values import Colour

OPEN_OHM = 1e7


class Plug(StrEnum):
    """How the wires of a plug or joint lie."""

    RIGHT = "right"
    DATA_GROUND = "data-gnd"
    DATA_FIVE = "data-five"
    FIVE_GROUND = "five-gnd"


class ChipOutput(StrEnum):
    """What a chip passes on."""

    OK = "ok"
    DEAD = "dead"
    WILD = "wild"


class Flex(StrEnum):
    """What a joint does when it is touched."""

    FIRM = "firm"
    DATA_OPENS = "data-opens"
    DATA_SHORTS = "data-shorts"
    FIVE_OPENS = "five-opens"


@dataclass(frozen=True, kw_only=True)
class Chip:
    """One pixel. `leds`: LEDs it drives; `address`: its burned-in number, None for an ordinary chip; `high_v`: volts it
    takes for a 1, None for the older parts' 0.7 VDD (WS2812B V5 sheet: 2.7 V); `least_v`: below it the chip does nothing
    (sheets say 3.5 to 3.7 V; parts reach a little lower: from memory); `input_low`: a dead input that holds its wire down;
    `unfed`: its own 5 V or GND pad makes no contact, the wires go on; `pad_torn`: its DOUT pad touches its chip only now and then."""

    order: str = "GRB"
    lights: bool = True
    dead_colours: frozenset[str] = frozenset()
    stuck: Colour | None = None
    input_ok: bool = True
    input_low: bool = False
    pad_torn: bool = False
    output: ChipOutput = ChipOutput.OK
    backwards: bool = False
    hidden: bool = False
    fails_warm: bool = False
    leds: int = 1
    high_v: float | None = None
    address: int | None = None
    least_v: float = 3.3
    unfed: bool = False
    khz: int = 800
    latch_us: int = 280


@dataclass(frozen=True, kw_only=True)
class ModelJoint:
    """The three wires that arrive at a pixel. `data_rail`: 5 V or GND that the data wire touches; `leaks`: by damp,
    some hundred ohms; `unfed`: the 5 V is cut here on purpose, and the feed of the piece behind it has its fuse open. `crossed`: which two of
    them are; `ground_apart`: from here on another supply feeds, whose ground is not joined."""

    data_ohm: float = 0.2
    data_rail: str = ""
    leaks: bool = False
    unfed: bool = False
    five_ohm: float = 0.008
    ground_ohm: float = 0.008
    metres: float = 0.1
    flex: Flex = Flex.FIRM
    open_at_rest: bool = False
    staple: bool = False
    crossed: Plug = Plug.RIGHT
    ground_apart: bool = False


@dataclass(frozen=True, kw_only=True)
class ModelSupply:
    """What feeds the pixels. `kind` own, shared (one feed for board and pixels) or usb. `source_ohm`: of
    supply and feed; `ground_by_cable`: its ground reaches the chain by the board's cable only. `fuse_ok`: the only feed's fuse, or
    the first one's; `far_fuse_ok`: that of a second feed at the far end, where there is one,
    `far_ground_ok` its minus."""

    kind: str = "own"
    volts: float = 5.0
    limit_a: float = 10.0
    source_ohm: float = 0.02
    short_at: int | None = None
    short_ohm: float = 0.3
    ground_by_cable: bool = False
    far_feed: bool = False
    fuse_ok: bool = True
    far_fuse_ok: bool = True
    far_ground_ok: bool = True


@dataclass(frozen=True, kw_only=True)
class Head:
    """Board and the way to the first pixel. `ground_by_charger`: board and pixels share ground only while an earthed charger
    is plugged in, `ground_loop` that this disturbs the data, `ground_loose` that they share it now and then. `paired`: a long
    lead runs beside its ground and is buffered. `shifter`: what should lift the board's 3.3 V does not. `cable_loose`: the board
    drops out when its cable moves; `dead`: it answers on no cable."""

    answers: bool = True
    dead: bool = False
    cable_loose: bool = False
    loses_bytes: bool = False
    output_ok: bool = True
    on_set_output: bool = True
    other_chain_there: bool = False
    logic_v: float = 5.0
    lead_m: float = 0.4
    paired: bool = False
    resistor_ohm: float = 330.0
    data_open: bool = False
    common_ground: bool = True
    ground_by_charger: bool = False
    ground_loop: bool = False
    ground_loose: bool = False
    shifter: bool = False
    plug: Plug = Plug.RIGHT
    from_end: bool = False
    crossed: bool = False
    brownout_v: float = 3.0
    board_ohm: float = 0.02


@dataclass(frozen=True, kw_only=True)
class ModelSettings:
    """What the board is set to. `held_down`: its ceiling is far below what supply and wires allow."""

    order: str = "GRB"
    count: int = 50
    khz: int = 800
    latch_us: int = 300
    held_down: bool = False


@dataclass(frozen=True, kw_only=True)
class GameSide:
    """The lamp in question on the game's side. `second_ground`: another wire joins the chain's ground to the game's."""

    input_wired: bool = True
    needs_load: bool = False
    pulses: bool = False
    driver_ok: bool = True
    coil_noise: bool = False
    second_ground: bool = False


@dataclass(frozen=True, kw_only=True)
class ModelWiring:
    """A whole chain as built. `teed`: this pixel hangs on the data wire of the one before; `passed_by`: the data wire
    leaves this pixel out; `shift_from`, `shift`: the map is off by `shift` from that number on. `data_taps`: jumpers,
    (pixel whose DIN is tapped, pixel whose DIN it feeds). `leaks_at`: the pixel whose light is seen beside it as well. `chance` in 0 to 1 settles what electricity leaves open."""

    chips: tuple[Chip, ...]
    joints: tuple[ModelJoint, ...]
    supply: ModelSupply = field(default_factory=ModelSupply)
    head: Head = field(default_factory=Head)
    settings: ModelSettings = field(default_factory=ModelSettings)
    game: GameSide = field(default_factory=GameSide)
    teed: int | None = None
    passed_by: int | None = None
    shift_from: int | None = None
    shift: int = 0
    data_taps: tuple[tuple[int, int], ...] = ()
    leaks_at: int | None = None
    chance: float = 0.5

    def __post_init__(self) -> None:
        if not self.chips or len(self.chips) != len(self.joints):
            raise ValueError(
                f"{len(self.chips)} chips and {len(self.joints)} joints: both have to be the same, above 0"
            )

    @property
    def count(self) -> int:
        """Number of pixels."""
        return len(self.chips)

    @property
    def reversed_from(self) -> int | None:
        """The pixel from which 5 V and GND are crossed, None if nowhere."""
        found = (at for at, joint in enumerate(self.joints) if joint.crossed is Plug.FIVE_GROUND)
        return next(found, None)

    @property
    def cut_off_from(self) -> int | None:
        """The pixel from which no wire leads back to the board that could feed it: data and a rail open; None if nowhere."""
        open_ = (at for at, j in enumerate(self.joints) if j.data_ohm >= OPEN_OHM <= max(j.five_ohm, j.ground_ohm))
        return next(open_, None)

    def with_chip(self, number: int, chip: Chip) -> ModelWiring:
        """The wiring with one chip replaced."""
        return replace(self, chips=(*self.chips[:number], chip, *self.chips[number + 1 :]))

    def with_joint(self, number: int, joint: ModelJoint) -> ModelWiring:
        """The wiring with one joint replaced."""
        return replace(self, joints=(*self.joints[:number], joint, *self.joints[number + 1 :]))
