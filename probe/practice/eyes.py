"""What a simulated person makes of the light: which picture fits, which walk, what the level does."""

from __future__ import annotations

from itertools import pairwise
from random import Random

from device_protocol.values import DARK
from probe.patterns.patterns import LOAD_SHARES, PatternChain, frame, pattern
from probe.patterns.pictures import BLUE, GREEN, RED, Picture, single, whole
from probe.practice.behaviour import Now, SeenChain, SeenPixel, rails, view
from probe.practice.plant import Planted
from probe.practice.wiring import Flex, ModelWiring

CEILING_MA = 2_000
TAIL = 10
STEP_V = 0.3
"""A fall in volts between neighbours that the eye takes for an edge, not a fade."""


class Eyes:
    """Looks at one planted wiring. `k` is the last good pixel of the latest look, None where there is no edge."""

    def __init__(self, planted: Planted, *, rng: Random) -> None:
        self.planted = planted
        self.w = planted.wiring
        self.rng = rng
        self.k: int | None = None
        self._views: dict[Picture, SeenChain] = {}
        self._steps: dict[int, tuple[list[int], int]] = {}
        self.now = Now(warm=self.w.chance > 0.5, charger=self.w.chance > 0.5)
        self.chain = PatternChain(count=self.w.settings.count, ceiling_ma=CEILING_MA)

    def see(self, picture: Picture, wiring: ModelWiring | None = None) -> SeenChain:
        """What is seen with a picture on the chain as it is now (or as changed for a test)."""
        if wiring is not None:
            return view(wiring, picture, self.now)
        if picture not in self._views:
            self._views[picture] = view(self.w, picture, self.now)
        return self._views[picture]

    def dims(self, wiring: ModelWiring | None = None) -> list[SeenChain]:
        """The chain in dim red, green and blue."""
        count = (wiring or self.w).settings.count
        return [self.see(whole(colour.at(12), count), wiring) for colour in (RED, GREEN, BLUE)]

    def bright(self, share: float = 1.0, wiring: ModelWiring | None = None) -> SeenChain:
        """The chain at a share of the ceiling."""
        return self.see(self.load(share), wiring)

    def load(self, share: float = 1.0) -> Picture:
        """The load pattern's picture."""
        return frame(pattern("load-steps"), self.chain, LOAD_SHARES.index(share)).picture

    def looks(self, seen: SeenPixel, number: int) -> SeenPixel:
        """A pixel from above: one turned away shows nothing."""
        return SeenPixel(DARK) if self.w.chips[number].hidden else seen

    # Looking

    def colour_picture(self) -> str:
        """What red, green and blue look like, in the words of the colours question; sets `k`."""
        views = self.dims()
        count = self.w.count
        seen = [[self.looks(v.pixels[i], i) for v in views] for i in range(count)]
        if views[0].near_white:
            return "near-white"
        if all(s.dark for row in seen for s in row):
            return "nothing"
        wild = [i for i in range(count) if any(not s.steady for s in seen[i])]
        if wild:
            self.k = wild[0] - 1
            return "wild"
        shown = [tuple("".join(sorted(s.colour.letters)) for s in row) for row in seen]
        lit = [i for i in range(count) if any(shown[i])]
        odd = [i for i in lit if shown[i] != ("R", "G", "B")]
        if not odd:
            return "right"
        self.k = odd[0] - 1
        if len(odd) == 1:
            return "colour-missing" if self.w.chips[odd[0]].order == self.w.settings.order else "swap-some"
        if len(odd) >= 0.6 * len(lit) and len({shown[i] for i in odd}) > 2 and len({shown[i] for i in odd[1:]}) > 2:
            return "repeating"
        if len(odd) == len(lit):
            return "swap-all"
        return "swap-to-end" if odd[-1] == lit[-1] else "swap-some"

    def look(self) -> str:
        """The first question: the picture that fits best."""
        self.k = None
        colours = self.colour_picture()
        views = self.dims()
        if colours == "nothing":
            self.k = -1
            return "other-chain" if views[0].other_chain_lit else "nothing"
        if colours == "near-white":
            return "near-white"
        if colours == "wild":
            return self._wild(views)
        stuck = [i for i, v in enumerate(views[0].pixels) if v.colour.letters == {"G"}]
        if colours == "colour-missing" and len(stuck) == 1:
            return "stuck-one"
        if colours != "right":
            return colours
        dark = [i for i, s in enumerate(views[0].pixels) if self.looks(s, i).dark]
        if dark:
            return self._dark(dark)
        return self._bright() or self._stepping() or self._elsewhere()

    def _wild(self, views: list[SeenChain]) -> str:
        wild = [i for i in range(self.w.count) if any(not v.pixels[i].steady for v in views)]
        if wild == [0]:
            self.k = None
            return "first-odd"
        if wild[0] <= 1:
            self.k = None
            return "random"
        self.k = wild[0] - 1
        return "to-k-odd"

    def _dark(self, dark: list[int]) -> str:
        tail = [i for i in dark if i >= self.w.count - len(dark)]
        self.k = dark[0] - 1
        if len(dark) == 1:
            return self._stepping() if self.w.passed_by is not None and self.w.chance < 0.5 else "one-dark"
        if len(tail) == len(dark):
            return "tail-dark" if len(dark) <= TAIL and self.rng.random() < 0.7 else "to-k-dark"
        return "to-k-dark"

    def _bright(self) -> str:
        seen = self.bright()
        if seen.restarted or seen.pulsing:
            return "restarts"
        if self.w.settings.held_down:
            return "dim-all"
        poor = [i for i, s in enumerate(seen.pixels) if s.tinted or s.dark or not s.steady]
        if not poor:
            return ""
        volts = rails(self.w, self.load()).volts
        if poor[0] == 0 and volts[0] - volts[-1] < STEP_V:
            return "dim-all"
        if poor[0] > 0 and volts[poor[0] - 1] - volts[poor[0]] > STEP_V:
            self.k = poor[0] - 1
            return "to-k-odd" if any(seen.pixels[i].tinted for i in poor) else "to-k-dark"
        if not seen.pixels[poor[0]].tinted:
            self.k = poor[0] - 1
            return "to-k-odd"
        return "fades"

    def walked(self, number: int) -> tuple[list[int], int]:
        """Places lit for a number, and the place the map expects (its own one unless the map is stale)."""
        if number not in self._steps:
            self._steps[number] = self._step(number)
        return self._steps[number]

    def _step(self, number: int) -> tuple[list[int], int]:
        seen = self.see(single(number, RED.at(32), self.w.settings.count)).pixels
        lit = [i for i, s in enumerate(seen) if not self.looks(s, i).dark and self.w.chips[i].stuck is None]
        if number == self.w.leaks_at and lit:
            lit = [*lit, lit[0] + 1]
        shifted = self.w.shift_from is not None and number >= self.w.shift_from
        return lit, number + (self.w.shift if shifted else 0)

    def _stepping(self) -> str:
        if self.w.chips[0].leds > 1:
            return "group"
        for number in range(self.w.settings.count):
            lit, wanted = self.walked(number)
            if len(lit) > 1:
                return "two-places"
            if lit and lit[0] != wanted:
                self.k = number - 1
                return "shifted"
        return ""

    def _elsewhere(self) -> str:
        """Trouble that is not there on the bench, or not just now."""
        game = self.w.game
        if not (game.input_wired and game.driver_ok) or game.needs_load or game.pulses:
            return "game-only"
        if game.coil_noise:
            return "game-only" if self.rng.random() < 0.2 else "comes-goes"
        head = self.w.head
        moves = head.ground_by_charger or head.ground_loop or head.ground_loose or head.cable_loose
        if moves or self.loose() or any(chip.fails_warm for chip in self.w.chips):
            return "comes-goes"
        return "none"

    def loose(self) -> list[int]:
        """Numbers of the joints that do not hold firm."""
        return [i for i, joint in enumerate(self.w.joints) if joint.flex is not Flex.FIRM]

    def walk(self) -> str:
        """The walking test in the words of its question."""
        views = self.dims()
        if views[0].other_chain_lit and all(s.dark for s in views[0].pixels):
            return "other-chain"
        if all(s.dark for v in views for s in v.pixels):
            return "nothing"
        if self.w.chips[0].leds > 1:
            return "group"
        if any(not s.steady for v in views for s in v.pixels) or any(c.stuck for c in self.w.chips):
            return "wild"
        steps = [self.walked(n) for n in range(self.w.settings.count)]
        missing = [n for n, (lit, _) in enumerate(steps) if not lit]
        twice = [n for n, (lit, _) in enumerate(steps) if len(lit) > 1]
        order = [lit[0] for lit, _ in steps if lit]
        repeats = sum(a == b for a, b in pairwise(order))
        skips = sum(b > a + 1 for a, b in pairwise(order))
        if repeats > 2 or skips > 2:
            return "again"
        if twice:
            return "two-places"
        if any(lit and lit[0] != wanted for lit, wanted in steps):
            return "shifted"
        if len(missing) == 1:
            return "one-dark"
        return "stops" if missing or self.w.settings.count < self.w.count else "right"

    def when(self) -> str:
        """When the trouble is there."""
        if any(chip.fails_warm for chip in self.w.chips):
            return "warm"
        if self.loose() or self.w.head.ground_loose or self.w.head.cable_loose:
            return "touched"
        game = self.w.game
        if game != type(game)():
            return "game-on"
        dims = self.dims()
        whole_now = all(not s.dark and s.steady for v in dims for s in v.pixels)
        seen = self.bright()
        poor = seen.restarted or seen.pulsing or any(s.tinted or s.dark or not s.steady for s in seen.pixels)
        return "bright" if whole_now and poor else "always"

    def load_steps(self) -> str:
        """What the rising level does."""
        first = self.bright(LOAD_SHARES[0])
        last = self.bright(1.0)
        if last.restarted and not first.restarted:
            return "restarts"
        if last.pulsing and not first.pulsing:
            return "unsteady"
        worse = [
            i for i, (a, b) in enumerate(zip(first.pixels, last.pixels, strict=True)) if a.steady and is_worse(a, b)
        ]
        if not worse:
            return "same"
        return "end-tints" if any(last.pixels[i].tinted for i in worse) else "unsteady"

    def right_after(self, wiring: ModelWiring, start: int) -> bool:
        """Whether the pixels from `start` on (the last one or two apart) come right in a changed wiring, not before."""

        def right(w: ModelWiring) -> bool:
            seen = self.see(whole(RED.at(12), w.settings.count), w).pixels[start : w.count - 2]
            return bool(seen) and all(s.steady and s.colour.letters == {"R"} for s in seen)

        return right(wiring) and not right(self.w)

    def cured(self, wiring: ModelWiring) -> bool:
        """Whether all is right, dim and bright, in a changed wiring and was not before."""

        def right(w: ModelWiring) -> bool:
            seen = [*self.dims(w), self.bright(1.0, w)]
            return not any(v.restarted or v.pulsing for v in seen) and all(
                s.steady and not s.dark and not s.tinted for v in seen for s in v.pixels
            )

        return right(wiring) and not right(self.w)


def is_worse(before: SeenPixel, after: SeenPixel) -> bool:
    """Whether a pixel that was right is tinted, dark or unsteady now."""
    return (after.tinted and not before.tinted) or (after.dark and not before.dark) or not after.steady
