"""What a map is: machine, chains of pixels, places, lamps, revisions. Frozen; operations return new ones.

A pixel's number is its position in its chain's tuple, from 0. Its `id` never changes, so notes and states travel
with the pixel when others are spliced in. Lengths are in millimetres, times in RFC 3339 UTC text, currents in mA.
"""

from collections.abc import Iterator
from enum import StrEnum
from functools import cached_property
from itertools import permutations
from operator import attrgetter
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from probe.document.model.change import Change
from probe.document.model.evenings import Photo, WorkLine
from probe.document.model.game import Discrepancy, Group, LightColour, Proof
from probe.document.model.harness import Batch, Connector, Feed, Gauge, Joint, MeterReading, Power, Supply
from probe.document.model.light import Fade, Reading
from probe.document.model.open_recheck import OpenRecheck
from probe.document.model.planning import KeepOut, PlanRules
from probe.document.model.record import MAX_TEXT as MAX_TEXT
from probe.document.model.record import Identifier, Label, Text
from probe.document.model.record import Record as Record
from probe.document.model.record import storable as storable
from probe.document.model.shape import Shape

FORMAT_NAME = "playfield-probe map"
FORMAT_VERSION = 2
MAX_PIXELS = 65_535

BYTE_ORDERS = tuple("".join(letters) for colours in ("RGB", "RGBW") for letters in permutations(colours))


def _is_order(text: str) -> str:
    if text not in BYTE_ORDERS:
        raise ValueError(f"{text!r} is not an order of bytes: it has to be a permutation of RGB or of RGBW")
    return text


ByteOrder = Annotated[str, AfterValidator(_is_order), Field(json_schema_extra={"enum": list(BYTE_ORDERS)})]


class PixelState(StrEnum):
    """What is known of a pixel."""

    UNSEEN = "unseen"
    PLACED = "placed"
    DARK = "dark"
    SPARE = "spare"
    REPEATER = "repeater"
    HIDDEN = "hidden"
    DEAD = "dead"


class Kind(StrEnum):
    """What sort of light a place or lamp is."""

    INSERT = "insert"
    BUMPER = "bumper"
    GENERAL = "general"
    FLASHER = "flasher"
    BACKBOX = "backbox"
    BUTTON = "button"
    SIGN = "sign"
    OTHER = "other"


class Position(Record):
    """A point on the playfield from above: x to the right, y away from the player, mm from the near left corner.

    `guessed`: taken over from a neighbour, nobody has confirmed it.
    """

    x_mm: float = Field(ge=-5_000, le=5_000, allow_inf_nan=False)
    y_mm: float = Field(ge=-5_000, le=5_000, allow_inf_nan=False)
    guessed: bool = False


class Place(Record):
    """Where light is seen.

    `depth_mm`: how far its pixels sit below the surface that they light; None if nobody measured. `diffuser`: something
    white is between them.
    """

    id: Identifier
    label: Label
    area: Text = ""
    kind: Kind = Kind.INSERT
    position: Position | None = None
    lamps: tuple[int, ...] = ()
    group: Text = ""
    level: int | None = Field(default=None, ge=0, le=255)
    colour: LightColour = ""
    depth_mm: float | None = Field(default=None, ge=0, le=500, allow_inf_nan=False)
    diffuser: bool = False
    note: Text = ""


class Pixel(Record):
    """One pixel of a chain. `verified` is the revision in which it was last seen to be right, 0 if never.

    `batch` is the id of the batch it came with.
    """

    id: Identifier
    state: PixelState = PixelState.UNSEEN
    place: Identifier | None = None
    note: Text = ""
    verified: int = Field(default=0, ge=0)
    batch: Identifier | None = None


class Chain(Record):
    """Pixels on one output of the board.

    `count` is what the board is set to, None while nobody knows; `pixels` is what the map knows of. `wire` and
    `ground_wire` are the gauges between pixels (None: not noted, and for ground as the 5 V wire), `spacing_mm` the wire
    from pixel to pixel where a joint has no length of its own, `connector` the plugs at joints. `joints` holds what is noted of joints, in any order.
    """

    id: Identifier
    name: Label
    output: int = Field(ge=0, le=15)
    count: int | None = Field(default=None, ge=1, le=MAX_PIXELS)
    order: ByteOrder = "GRB"
    chip: Identifier = "ws2812b"
    latch_us: int = Field(default=300, ge=280, le=1_000)
    ceiling_ma: int = Field(default=450, ge=1, le=100_000)
    note: Text = ""
    wire: Gauge | None = None
    ground_wire: Gauge | None = None
    spacing_mm: float | None = Field(default=None, ge=0, le=50_000, allow_inf_nan=False)
    connector: Connector = Connector.NOT_NOTED
    pixels: tuple[Pixel, ...] = Field(default=(), max_length=MAX_PIXELS)
    joints: tuple[Joint, ...] = Field(default=(), max_length=MAX_PIXELS)

    @property
    def length(self) -> int:
        """Pixels that can be asked for: the count if known, but never fewer than the map holds."""
        return max(self.count or 0, len(self.pixels))

    @cached_property
    def answered(self) -> int:
        """Pixels that somebody has answered."""
        return sum(pixel.state is not PixelState.UNSEEN for pixel in self.pixels)


class Lamp(Record):
    """A row of the lamp list. `row` and `column` are its strobes, counted from 1, in a strobed game.

    `number` None: no lamp output of the game switches it (general illumination, always on); it belongs to a `group`.
    """

    number: int | None = Field(default=None, ge=0, le=9_999)
    name: Label
    area: Text = ""
    kind: Kind = Kind.INSERT
    driver: Text = ""
    row: int | None = Field(default=None, ge=1, le=64)
    column: int | None = Field(default=None, ge=1, le=64)
    insert_colour: Text = ""
    group: Text = ""
    note: Text = ""

    @model_validator(mode="after")
    def _has_number_or_group(self) -> Self:
        if self.number is None and not self.group.strip():
            raise ValueError(f"the lamp {self.name[:40]!r} has neither a number nor a group")
        return self


class Machine(Record):
    """The game. Size is the playfield's; 514.35 × 1066.8 mm is the common 20.25 × 42 in."""

    name: Label
    width_mm: float = Field(default=514.35, gt=0, le=5_000)
    length_mm: float = Field(default=1066.8, gt=0, le=5_000)
    note: Text = ""


class Bookmark(Record):
    """Where the walk stopped."""

    chain: Identifier
    number: int = Field(ge=0, le=MAX_PIXELS)


class Revision(Record):
    """One change of the map that has a reason. `changes` are lines a person can read, `diff` is the change itself.

    `rewired`: chains whose pixels were spliced in, taken out or put in another order. `undoes`: the revision that this
    one takes back (or, if that took one back itself, does again).
    """

    number: int = Field(ge=1)
    time: Text
    reason: Text
    changes: tuple[Text, ...] = ()
    rewired: tuple[Identifier, ...] = ()
    undoes: int | None = Field(default=None, ge=1)
    diff: tuple[Change, ...] = ()


_ID, _PLACE = attrgetter("id"), attrgetter("place")


class PlayfieldMap(Record):
    """The whole map of one machine. `pending` is what changed since the last revision, while a session is open.

    `rechecks`: answers of rechecks that are not finished, at most one for each chain; nothing of them holds yet.
    `shapes`: what is drawn of the playfield; none: a neutral field of the machine's size. `keep_outs`: what wire keeps
    clear of below it; `plan_rules`: what a plan of the chains keeps to, None: the usual rules.
    `worklist`: what a person wrote down to do, or ticked off; the rest of the worklist is computed.
    """

    format: Literal["playfield-probe map"] = "playfield-probe map"
    version: Literal[2] = 2
    machine: Machine
    bookmark: Bookmark | None = None
    chains: tuple[Chain, ...] = Field(default=(), max_length=64)
    places: tuple[Place, ...] = ()
    shapes: tuple[Shape, ...] = Field(default=(), max_length=500)
    keep_outs: tuple[KeepOut, ...] = Field(default=(), max_length=200)
    lamps: tuple[Lamp, ...] = ()
    plan_rules: PlanRules | None = None
    power: Power | None = None
    supplies: tuple[Supply, ...] = ()
    feeds: tuple[Feed, ...] = ()
    batches: tuple[Batch, ...] = ()
    groups: tuple[Group, ...] = ()
    proofs: tuple[Proof, ...] = ()
    observations: tuple[Discrepancy, ...] = ()
    worklist: tuple[WorkLine, ...] = Field(default=(), max_length=2_000)
    photos: tuple[Photo, ...] = Field(default=(), max_length=2_000)
    fade: Fade | None = None
    readings: tuple[Reading, ...] = ()
    meter: tuple[MeterReading, ...] = ()
    revisions: tuple[Revision, ...] = ()
    pending: tuple[Change, ...] = ()
    rechecks: tuple[OpenRecheck, ...] = ()

    @model_validator(mode="after")
    def _references_hold(self) -> Self:
        self.check_references()
        return self

    def check_references(self) -> None:
        """Raise ValueError if an id is used twice or a reference leads nowhere."""
        places: set[str | None] = set(map(_ID, self.places))
        if len(places) != len(self.places):
            raise ValueError(f"place id {_first_twice([p.id for p in self.places])!r} is used twice")
        chains = [c.id for c in self.chains]
        if len(set(chains)) != len(chains):
            raise ValueError(f"chain id {_first_twice(chains)!r} is used twice")
        places.add(None)
        for chain in self.chains:
            if len(set(map(_ID, chain.pixels))) != len(chain.pixels):
                raise ValueError(
                    f"chain {chain.id!r}: pixel id {_first_twice([p.id for p in chain.pixels])!r} is used twice"
                )
            if places.issuperset(map(_PLACE, chain.pixels)):
                continue
            for number, pixel in enumerate(chain.pixels):
                if pixel.place not in places:
                    raise ValueError(f"chain {chain.id!r}, pixel {number}: there is no place with id {pixel.place!r}")
        for what, found in (
            ("supply", self.supplies),
            ("feed", self.feeds),
            ("batch", self.batches),
            ("work line", self.worklist),
            ("photo", self.photos),
        ):
            names = [record.id for record in found]
            if len(set(names)) != len(names):
                raise ValueError(f"{what} id {_first_twice(names)!r} is used twice")
        if self.bookmark is not None and self.bookmark.chain not in chains:
            raise ValueError(f"bookmark: there is no chain with id {self.bookmark.chain!r}")

    @cached_property
    def place_by_id(self) -> dict[str, Place]:
        """Places by id."""
        return {place.id: place for place in self.places}

    @cached_property
    def chain_by_id(self) -> dict[str, Chain]:
        """Chains by id."""
        return {chain.id: chain for chain in self.chains}

    @cached_property
    def kinds(self) -> frozenset[Kind]:
        """Those that occur among the places."""
        return frozenset(place.kind for place in self.places)

    @cached_property
    def batch_by_id(self) -> dict[str, Batch]:
        """Batches by id."""
        return {batch.id: batch for batch in self.batches}

    @cached_property
    def pixels_at(self) -> dict[str, tuple[tuple[str, int], ...]]:
        """For each place id with pixels: the (chain id, number) pairs there, in order."""
        found: dict[str, list[tuple[str, int]]] = {}
        for chain_id, number, pixel in self.walk_pixels():
            if pixel.place is not None:
                found.setdefault(pixel.place, []).append((chain_id, number))
        return {place: tuple(pairs) for place, pairs in found.items()}

    def walk_pixels(self) -> Iterator[tuple[str, int, Pixel]]:
        """Every pixel as (chain id, number, pixel), chain by chain."""
        for chain in self.chains:
            for number, pixel in enumerate(chain.pixels):
                yield chain.id, number, pixel

    def chain(self, chain_id: str) -> Chain:
        """The chain with that id. Raises KeyError."""
        return self.chain_by_id[chain_id]

    def place_of(self, pixel: Pixel) -> Place | None:
        """The place a pixel lights, or None."""
        return None if pixel.place is None else self.place_by_id[pixel.place]

    def place_at(self, chain: Chain, number: int) -> Place | None:
        """The place that a chain's pixel of this number lights; None if it lights none, or the chain is shorter."""
        return self.place_of(chain.pixels[number]) if number < len(chain.pixels) else None

    def batch_of(self, pixel: Pixel) -> Batch | None:
        """The batch a pixel is of; None if none is noted, or if the map does not have it."""
        return None if pixel.batch is None else self.batch_by_id.get(pixel.batch)


def _first_twice(items: list[str]) -> str:
    seen: set[str] = set()
    for item in items:
        if item in seen:
            return item
        seen.add(item)
    raise ValueError("nothing is there twice")


def shown_number(number: int) -> str:
    """A pixel's number as every screen shows it: 0-based, with the count a person makes: `14 (15th)`."""
    position = number + 1
    suffix = "th" if position % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(position % 10, "th")
    return f"{number} ({position}{suffix})"
