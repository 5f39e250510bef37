"""What is really wired to an output: physical pixels in the order in which the data reaches them.

A `Wiring` never changes; splicing, taking out, reversing and so on give a new one. What the map believes is elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from device_protocol.values import Colour, is_byte_order


@dataclass(frozen=True, slots=True)
class PhysicalPixel:
    """One pixel of a chain.

    `place`: key of the place where its light is seen, None for one that nobody can see.
    `byte_order`: the order in which the chip takes its colours, 3 letters (24 bits) or 4 (32 bits).
    `emits`: False for one that lights nothing though it passes data on (dead dies, or a repeater).
    `passes_data`: False for a dead data output: nothing after it hears anything.
    `fitted`: False where the pixel is missing from the chain: the data line is open here.
    `dead_colours`: letters of dies that do not light, such as "B".
    """

    place: str | None
    byte_order: str = "GRB"
    emits: bool = True
    passes_data: bool = True
    fitted: bool = True
    dead_colours: str = ""

    def __post_init__(self) -> None:
        if not is_byte_order(self.byte_order):
            raise ValueError(f"byte order {self.byte_order!r}: a permutation of RGB or RGBW")

    def shows(self, colour: Colour) -> Colour:
        """The light that leaves the pixel when its chip holds `colour`."""
        if not (self.emits and self.fitted):
            return Colour(0, 0, 0)
        dead = self.dead_colours
        return Colour(
            0 if "R" in dead else colour.red,
            0 if "G" in dead else colour.green,
            0 if "B" in dead else colour.blue,
            0 if "W" in dead else colour.white,
        )


@dataclass(frozen=True, slots=True)
class ChainWiring:
    """The chain on one output, first pixel first."""

    pixels: tuple[PhysicalPixel, ...] = ()

    @classmethod
    def of_places(cls, places: Iterable[str | None], *, byte_order: str = "GRB") -> ChainWiring:
        """A sound chain with one pixel for each place key."""
        return cls(tuple(PhysicalPixel(place, byte_order) for place in places))

    def __len__(self) -> int:
        return len(self.pixels)

    def __iter__(self) -> Iterator[PhysicalPixel]:
        return iter(self.pixels)

    def __getitem__(self, at: int) -> PhysicalPixel:
        return self.pixels[at]

    def spliced_in(self, at: int, *new: PhysicalPixel) -> ChainWiring:
        """`new` pixels before number `at`; `at` equal to the length appends."""
        self._check(at, 0)
        return ChainWiring((*self.pixels[:at], *new, *self.pixels[at:]))

    def removed(self, at: int, count: int = 1) -> ChainWiring:
        """Without `count` pixels from number `at`; the wires are joined."""
        self._check(at, count)
        return ChainWiring((*self.pixels[:at], *self.pixels[at + count :]))

    def reversed_run(self, at: int, count: int) -> ChainWiring:
        """`count` pixels from number `at` in the opposite order."""
        self._check(at, count)
        return ChainWiring((*self.pixels[:at], *self.pixels[at : at + count][::-1], *self.pixels[at + count :]))

    def swapped(self, one: int, other: int) -> ChainWiring:
        """Two pixels in each other's position on the wire."""
        self._check(one, 1)
        self._check(other, 1)
        order = list(self.pixels)
        order[one], order[other] = order[other], order[one]
        return ChainWiring(tuple(order))

    def moved(self, at: int, count: int, to: int) -> ChainWiring:
        """`count` pixels from number `at` taken out and put before number `to` of what is left."""
        self._check(at, count)
        return self.removed(at, count).spliced_in(to, *self.pixels[at : at + count])

    def changed(self, at: int, change: Callable[[PhysicalPixel], PhysicalPixel]) -> ChainWiring:
        """With pixel `at` replaced by `change` of it."""
        self._check(at, 1)
        return ChainWiring((*self.pixels[:at], change(self.pixels[at]), *self.pixels[at + 1 :]))

    def without_light(self, at: int) -> ChainWiring:
        """Pixel `at` lights nothing but passes data on."""
        return self.changed(at, lambda pixel: replace(pixel, emits=False))

    def with_dead_output(self, at: int) -> ChainWiring:
        """Pixel `at` passes no data on."""
        return self.changed(at, lambda pixel: replace(pixel, passes_data=False))

    def missing(self, at: int) -> ChainWiring:
        """The pixel at `at` is not fitted and the data line open there."""
        return self.changed(at, lambda pixel: replace(pixel, fitted=False))

    def _check(self, at: int, count: int) -> None:
        if at < 0 or count < 0 or at + count > len(self.pixels):
            raise IndexError(f"pixels {at} to {at + count - 1} of a chain of {len(self.pixels)}")


class PixelChain:
    """A wiring under power: what each chip holds. Starts dark.

    Each pixel takes the first bytes of what reaches it, as many as it has colours, and passes the rest on. A pixel that
    gets less than that, or nothing, keeps what it had.
    """

    def __init__(self, wiring: ChainWiring) -> None:
        self.wiring = wiring
        self.held = [Colour(0, 0, 0)] * len(wiring)

    def take_frame(self, frame: bytes) -> None:
        """A frame and its latch time arrive at the first pixel."""
        start = 0
        for number, pixel in enumerate(self.wiring):
            end = start + len(pixel.byte_order)
            if not pixel.fitted or end > len(frame):
                return
            self.held[number] = Colour.from_wire(frame[start:end], pixel.byte_order)
            start = end
            if not pixel.passes_data:
                return

    def bits_beyond(self, frame: bytes) -> int:
        """Bits of a frame that leave the last pixel; each of them rises once on the wire."""
        taken = 0
        for pixel in self.wiring:
            if not pixel.fitted or not pixel.passes_data:
                return 0
            taken += len(pixel.byte_order)
        return 8 * max(0, len(frame) - taken)

    def shown(self) -> list[tuple[PhysicalPixel, Colour]]:
        """Each pixel with the light that leaves it now."""
        return [(pixel, pixel.shows(held)) for pixel, held in zip(self.wiring, self.held, strict=True)]
