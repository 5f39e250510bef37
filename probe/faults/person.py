"""A simulated person at a model wiring: looks, measures, swaps, and answers the fault finder's questions from what the
model gives - never from the finder's tables. Some answers can be made wrong on purpose."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random

from probe.faults.engine import UNSURE
from probe.faults.knowledge import Observation
from probe.faults.plant import Planted
from probe.faults.wiring import (
    OPEN_OHM,
    Flex,
    Now,
    Plug,
    Quality,
    Seen,
    View,
    Wiring,
    data_path,
    rails,
    view,
)
from probe.patterns.patterns import LOAD_SHARES, Chain, frame, pattern
from probe.patterns.pictures import BLUE, DARK, GREEN, RED, Picture, single, whole

CEILING_MA = 2_000
TAIL = 10
STEP_V = 0.3
"""A fall in volts between neighbours that the eye takes for an edge, not a fade."""


@dataclass(frozen=True)
class Reply:
    """An answer (or `unsure`), or what was typed for a reading; and the last good pixel where the look shows it."""

    answer: str = UNSURE
    typed: str = ""
    k: int | None = None


class SimulatedPerson:
    """Answers for one planted wiring. `wrong`: share of answers replaced by another one at random (0 to 1)."""

    def __init__(self, planted: Planted, *, seed: int, wrong: float = 0.0) -> None:
        if not 0 <= wrong <= 1:
            raise ValueError(f"the share of wrong answers is from 0 to 1, not {wrong}")
        self.planted = planted
        self.w = planted.wiring
        self.rng = Random(f"person {seed}")
        self.wrong = wrong
        self.k: int | None = None
        self.now = Now(warm=self.w.chance > 0.5)
        self.chain = Chain(count=self.w.settings.count, ceiling_ma=CEILING_MA)
        self.full = Chain(count=self.w.count, ceiling_ma=CEILING_MA)

    def answer(self, observation: Observation) -> Reply:
        """The reply to a question. Raises KeyError for one this person cannot do."""
        if observation.needs_k and self.k is None:
            return Reply()
        reply = _HANDS[observation.id](self)
        made = Reply(typed=reply) if observation.meter else Reply(answer=reply)
        if observation.id == "look":
            made = replace(made, k=self.k)
        if self.rng.random() < self.wrong:
            right = None if observation.meter else made.answer
            others = [answer.id for answer in observation.answers if answer.id != right]
            return Reply(answer=self.rng.choice(others), k=made.k)
        return made

    def see(self, picture: Picture, wiring: Wiring | None = None) -> View:
        """What is seen with a picture on the chain as it is now (or as changed for a test)."""
        return view(wiring or self.w, picture, self.now)

    def dims(self, wiring: Wiring | None = None) -> list[View]:
        """The chain in dim red, green and blue."""
        count = (wiring or self.w).settings.count
        return [self.see(whole(colour.at(12), count), wiring) for colour in (RED, GREEN, BLUE)]

    def bright(self, share: float = 1.0, wiring: Wiring | None = None) -> View:
        """The chain at a share of the ceiling."""
        return self.see(self.load(share), wiring)

    def load(self, share: float = 1.0) -> Picture:
        """The load pattern's picture."""
        return frame(pattern("load-steps"), self.chain, LOAD_SHARES.index(share)).picture

    def looks(self, seen: Seen, number: int) -> Seen:
        """A pixel from above: one turned away shows nothing."""
        return Seen(DARK) if self.w.chips[number].hidden else seen

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

    def _wild(self, views: list[View]) -> str:
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
        poor = [i for i, s in enumerate(seen.pixels) if s.tinted or s.dark or not s.steady]
        if not poor:
            return ""
        volts = rails(self.w, self.load()).volts
        if poor[0] > 0 and volts[poor[0] - 1] - volts[poor[0]] > STEP_V:
            self.k = poor[0] - 1
            return "to-k-odd" if any(seen.pixels[i].tinted for i in poor) else "to-k-dark"
        if not seen.pixels[poor[0]].tinted:
            self.k = poor[0] - 1
            return "to-k-odd"
        return "fades"

    def _walk(self, number: int) -> tuple[list[int], int]:
        """Places lit for a number, and the place the map expects (its own one unless the map is stale)."""
        seen = self.see(single(number, RED.at(32), self.w.settings.count)).pixels
        lit = [i for i, s in enumerate(seen) if not self.looks(s, i).dark and self.w.chips[i].stuck is None]
        shifted = self.w.shift_from is not None and number >= self.w.shift_from
        return lit, number + (self.w.shift if shifted else 0)

    def _stepping(self) -> str:
        if self.w.chips[0].leds > 1:
            return "group"
        for number in range(self.w.settings.count):
            lit, wanted = self._walk(number)
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
        if self._loose() or any(chip.fails_warm for chip in self.w.chips):
            return "comes-goes"
        return "none"

    def _loose(self) -> list[int]:
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
        walked = [self._walk(n) for n in range(self.w.settings.count)]
        missing = [n for n, (lit, _) in enumerate(walked) if not lit]
        twice = [n for n, (lit, _) in enumerate(walked) if len(lit) > 1]
        order = [lit[0] for lit, _ in walked if lit]
        repeats = sum(a == b for a, b in zip(order, order[1:], strict=False))
        skips = sum(b > a + 1 for a, b in zip(order, order[1:], strict=False))
        if repeats > 2 or skips > 2:
            return "again"
        if twice:
            return "two-places"
        if any(lit and lit[0] != wanted for lit, wanted in walked):
            return "shifted"
        if len(missing) == 1:
            return "one-dark"
        return "stops" if missing or self.w.settings.count < self.w.count else "right"

    def when(self) -> str:
        """When the trouble is there."""
        if any(chip.fails_warm for chip in self.w.chips):
            return "warm"
        if self._loose():
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
        worse = [i for i, (a, b) in enumerate(zip(first.pixels, last.pixels, strict=True)) if a.steady and _worse(a, b)]
        if not worse:
            return "same"
        return "end-tints" if any(last.pixels[i].tinted for i in worse) else "unsteady"

    def right_after(self, wiring: Wiring, start: int) -> bool:
        """Whether the pixels from `start` on (the last one or two apart) come right in a changed wiring, not before."""

        def right(w: Wiring) -> bool:
            seen = self.see(whole(RED.at(12), w.settings.count), w).pixels[start : w.count - 2]
            return bool(seen) and all(s.steady and s.colour.letters == {"R"} for s in seen)

        return right(wiring) and not right(self.w)

    def cured(self, wiring: Wiring) -> bool:
        """Whether all is right, dim and bright, in a changed wiring and was not before."""

        def right(w: Wiring) -> bool:
            seen = [*self.dims(w), self.bright(1.0, w)]
            return not any(v.restarted or v.pulsing for v in seen) and all(
                s.steady and not s.dark and not s.tinted for v in seen for s in v.pixels
            )

        return right(wiring) and not right(self.w)

    # Measuring

    def typed(self, value: float, unit: str, spread: float = 0.01) -> str:
        """A reading as it is typed, with the meter's last digits."""
        if value >= OPEN_OHM:
            return "OL"
        value *= 1 + self.rng.uniform(-spread, spread)
        return f"{value / 1000:.2f}k" if unit == "ohm" and value >= 1_000 else f"{value:.2f}"

    def send_idle(self, moves: bool, share: float = 1.0) -> str:
        """Two readings on a data pin, sending and idle (about 0.28 of the logic level while black frames are sent)."""
        high = self.w.head.logic_v * 0.28 * share if moves else 0.02
        return f"{high * self.rng.uniform(0.9, 1.1):.2f} / {self.rng.uniform(0, 0.03):.2f}"

    def at_pins(self) -> tuple[list[bool], list[bool]]:
        """Whether each DIN and each DOUT moves while black frames are sent."""
        black = whole(DARK, self.w.settings.count)
        data = data_path(self.w, black, rails(self.w, black), self.now)
        return (
            [signal.quality is not Quality.NONE for signal in data.at_din],
            [signal.quality is not Quality.NONE for signal in data.at_dout],
        )

    def din_first(self) -> str:
        """Send/idle at the pad where the lead arrives."""
        if self.w.head.from_end:
            return self.send_idle(self.w.chance > 0.45)
        if not self.w.head.common_ground:
            return self.send_idle(self.w.chance > 0.4)
        return self.send_idle(self.at_pins()[0][0])

    def board_pin(self) -> str:
        """Send/idle where the chain's data wire leaves the board."""
        head = self.w.head
        held = head.plug in (Plug.DATA_GROUND, Plug.DATA_FIVE)
        return self.send_idle(head.answers and head.output_ok and head.on_set_output and not head.crossed and not held)

    def dout_k(self) -> str:
        """Send/idle at k's DOUT pad."""
        k = self._place()
        moves = self.at_pins()[1][k]
        if self.w.joints[k + 1].data_rail:
            return self.send_idle(False)
        if self.w.chips[k + 1].backwards:
            return self.send_idle(moves and self.w.chance > 0.25, 0.5)
        return self.send_idle(moves)

    def _place(self) -> int:
        """k, held inside the chain: -1 is asked for only where the first pixel counts as k+1."""
        return min(max(self.k if self.k is not None else 0, 0), self.w.count - 3)

    def ground_drop(self) -> str:
        """Volts between the grounds of board and first pixel."""
        head = self.w.head
        if not head.common_ground:
            return self.typed(0.3 + 1.5 * self.w.chance, "V")
        if head.plug is Plug.DATA_GROUND:
            return self.typed(1.2, "V")
        if head.plug is Plug.FIVE_GROUND:
            return self.typed(4.9, "V")
        return self.typed(0.01 + 0.04 * self.w.chance, "V")

    def joint_drop(self, rail: str) -> str:
        """Volts across one wire of the joint after k under load."""
        k = self._place()
        joint = self.w.joints[k + 1]
        amps = float(rails(self.w, self.load()).joint_a[k + 1])
        return self.typed(abs(amps) * (joint.five_ohm if rail == "five" else joint.ground_ohm), "V")

    def volts(self, number: int) -> str:
        """Volts at a pixel under load."""
        return self.typed(float(rails(self.w, self.load()).volts[number]), "V", 0.003)

    def joint_ohms(self) -> str:
        """DOUT of k to DIN of k+1, power off."""
        k = self._place()
        joint = self.w.joints[k + 1]
        moved = joint.flex is Flex.DATA_OPENS and joint.open_at_rest
        apart = self.w.chips[k + 1].backwards or moved or self.w.passed_by == k + 1 or self.w.teed == k + 1
        return self.typed(OPEN_OHM if apart else joint.data_ohm, "ohm")

    def data_to_rail(self) -> str:
        """Lowest ohms from the wire leaving k to a rail, power off."""
        joint = self.w.joints[self._place() + 1]
        touches = joint.data_rail or (joint.flex is Flex.DATA_SHORTS and joint.open_at_rest)
        return self.typed(0.6 if touches else 47_000.0, "ohm")

    def resistor_ohms(self) -> str:
        """Set output's pin to the first DIN, power off."""
        head = self.w.head
        apart = head.data_open or not head.on_set_output or head.crossed
        apart = apart or head.plug in (Plug.DATA_GROUND, Plug.DATA_FIVE)
        return self.typed(OPEN_OHM if apart else head.resistor_ohm, "ohm")

    def supply_ohms(self) -> str:
        """5 V to GND, power off."""
        short = self.w.supply.short_at is not None
        return self.typed(self.w.supply.short_ohm if short else 150 + 2_000 * self.w.chance, "ohm")

    # Trying

    def settings_flip(self) -> str:
        """Which other setting cures it."""
        chips, settings = self.w.chips, self.w.settings
        if self.colour_picture() == "nothing":
            return "none"
        if settings.khz != chips[0].khz:
            return "speed"
        if settings.latch_us < chips[0].latch_us:
            return "latch"
        if {len(c.order) for c in chips} == {7 - len(settings.order)}:
            return "width"
        if len({c.order for c in chips}) == 1 and chips[0].order != settings.order:
            return "order"
        return "none"

    def raise_count(self) -> str:
        """Whether ten more pixels in the settings light more."""
        more = replace(self.w, settings=replace(self.w.settings, count=self.w.settings.count + 10))

        def lit(w: Wiring) -> int:
            return sum(not s.dark for s in self.see(whole(RED.at(12), w.settings.count), w).pixels)

        return "more" if lit(more) > lit(self.w) else "same"

    def all_outputs(self) -> str:
        """Every output sends its own colour."""
        head = self.w.head
        if not head.on_set_output or head.crossed:
            moved = replace(self.w, head=replace(head, on_set_output=True, crossed=False))
            return "other" if any(not s.dark for s in self.dims(moved)[0].pixels) else "dark"
        seen = self.dims()[0].pixels
        return "as-set" if any(s.steady and not s.dark for s in seen) else "dark"

    def next_right(self) -> str:
        """Whether the number after the bad place lights its place."""
        number = (self.k if self.k is not None else -1) + 2
        if number >= self.w.settings.count:
            return "no"
        lit, wanted = self._walk(number)
        return "yes" if lit == [wanted] else "no"

    def probe_next(self) -> str:
        """A good pixel on the wire arriving at k+1."""
        k = self._place()
        picture = frame(pattern("all-numbers"), self.chain, 0).picture
        data = data_path(self.w, picture, rails(self.w, picture), self.now)
        if self.w.chips[k + 1].backwards:
            return "dark" if self.w.chance < 0.5 else "right"
        return {Quality.GOOD: "right", Quality.WILD: "odd", Quality.NONE: "dark"}[data.at_din[k + 1].quality]

    def jumper(self, source: int, target: int) -> str:
        """A wire from one DIN to another's; the rest are those after the target."""
        changed = replace(self.w, data_taps=((source, target),))
        return "yes" if self.right_after(changed, target + 1) else "no"

    def short_lead(self) -> str:
        """A short new data lead."""
        head = replace(self.w.head, lead_m=0.2, data_open=False)
        return "yes" if self.cured(replace(self.w, head=head)) else "no"

    def spare(self) -> str:
        """A good pixel on a short lead at this output."""
        head, settings = self.w.head, self.w.settings
        fed = self.w.supply.volts > 4 and self.w.supply.short_at is None
        board = head.answers and head.output_ok and head.on_set_output and not head.crossed
        fits = settings.khz == 800 and settings.latch_us >= 280
        level = head.logic_v > 3.5 or self.w.chips[0].high_v is not None or self.w.chance > 0.5
        return "yes" if fed and board and fits and level and head.resistor_ohm < 20_000 else "no"

    def other_output(self) -> str:
        """The chain on another output known to be good, set accordingly."""
        head = replace(self.w.head, output_ok=True, on_set_output=True, crossed=False)
        before = any(s.steady and not s.dark for s in self.dims()[0].pixels)
        after = any(s.steady and not s.dark for s in self.dims(replace(self.w, head=head))[0].pixels)
        return "yes" if after and not before else "no"

    def input_view(self) -> str:
        """The board's input during the game's lamp test."""
        game = self.w.game
        if not game.driver_ok or not game.input_wired or not self.w.head.answers:
            return "none"
        if game.needs_load:
            return "many" if self.w.chance > 0.5 else "none"
        return "many" if game.pulses else "clean"

    def hold_flex(self) -> str:
        """One frame held, joints touched."""
        kinds = {self.w.joints[i].flex for i in self._loose()}
        if Flex.FIVE_OPENS in kinds:
            return "dark"
        return "odd" if kinds and self.w.chance < 0.6 else "clean"

    def march_flex(self) -> str:
        """Colours change slowly, joints touched."""
        return "lags" if self._loose() else "follows"

    def hold_game(self) -> str:
        """One frame held while the game plays."""
        shaken = bool(self._loose()) and self.w.chance < 0.5
        return "marks" if self.w.game.coil_noise or shaken else "clean"


def _worse(before: Seen, after: Seen) -> bool:
    return (after.tinted and not before.tinted) or (after.dark and not before.dark) or not after.steady


def _yes(value: object) -> str:
    return "yes" if value else "no"


_PLUGS = {Plug.RIGHT: "right", Plug.DATA_GROUND: "data-gnd", Plug.DATA_FIVE: "data-five", Plug.FIVE_GROUND: "five-gnd"}

_HANDS: dict[str, Callable[[SimulatedPerson], str]] = {
    "link-answers": lambda p: _yes(p.w.head.answers),
    "restarted": lambda p: _yes(p.bright().restarted),
    "replies-damaged": lambda p: _yes(p.w.head.loses_bytes),
    "heat": lambda p: _yes(p.planted.hot),
    "look": SimulatedPerson.look,
    "colours": SimulatedPerson.colour_picture,
    "walk": SimulatedPerson.walk,
    "when": SimulatedPerson.when,
    "after-work": lambda p: _yes(p.planted.after_work),
    "direct-3v3": lambda p: _yes(p.w.head.logic_v < 4),
    "lead-long": lambda p: _yes(p.w.head.lead_m > 1.5),
    "gap-long": lambda p: _yes(p.w.joints[p._place() + 1].metres > 1),
    "supply-kind": lambda p: p.w.supply.kind,
    "load-steps": SimulatedPerson.load_steps,
    "all-outputs": SimulatedPerson.all_outputs,
    "next-right": SimulatedPerson.next_right,
    "below": lambda p: "lit" if any(c.hidden for c in p.w.chips) else "dark",
    "idle-glow": lambda p: _yes(any(c.stuck for c in p.w.chips)),
    "arrow-first": lambda p: _yes(not p.w.head.from_end),
    "arrow-next": lambda p: _yes(not p.w.chips[p._place() + 1].backwards),
    "pads-first": lambda p: _PLUGS[p.w.head.plug],
    "staple": lambda p: _yes(any(j.staple or (j.data_rail and p.w.chance < 0.4) for j in p.w.joints)),
    "two-wires": lambda p: _yes(p.w.teed is not None),
    "passed-by": lambda p: _yes(p.w.passed_by is not None),
    "chip-kind": lambda p: "three" if p.w.chips[0].leds > 1 else "one",
    "new-port": lambda p: _yes(p.w.head.answers or p.w.chance < 0.4),
    "input-view": SimulatedPerson.input_view,
    "hold-flex": SimulatedPerson.hold_flex,
    "march-flex": SimulatedPerson.march_flex,
    "hold-game": SimulatedPerson.hold_game,
    "settings-flip": SimulatedPerson.settings_flip,
    "raise-count": SimulatedPerson.raise_count,
    "volts-first": lambda p: p.volts(0),
    "volts-last": lambda p: p.volts(-1),
    "ground-drop": SimulatedPerson.ground_drop,
    "five-drop": lambda p: p.joint_drop("five"),
    "ground-joint-drop": lambda p: p.joint_drop("ground"),
    "din-first": SimulatedPerson.din_first,
    "board-pin": SimulatedPerson.board_pin,
    "din-next": lambda p: p.send_idle(p.at_pins()[0][p._place() + 1]),
    "dout-k": SimulatedPerson.dout_k,
    "supply-ohms": SimulatedPerson.supply_ohms,
    "joint-ohms": SimulatedPerson.joint_ohms,
    "data-to-rail": SimulatedPerson.data_to_rail,
    "resistor-ohms": SimulatedPerson.resistor_ohms,
    "through-beep": lambda p: p.typed(0.5 if p.w.chips[0].address is not None else math.inf, "ohm"),
    "probe-next": SimulatedPerson.probe_next,
    "jumper-first": lambda p: p.jumper(0, 1),
    "jumper-k": lambda p: p.jumper(p._place(), p._place() + 1),
    "jumper-next": lambda p: p.jumper(p._place() + 1, p._place() + 2),
    "far-feed": lambda p: _yes(p.cured(replace(p.w, supply=replace(p.w.supply, far_feed=True)))),
    "short-lead": SimulatedPerson.short_lead,
    "spare-same-output": SimulatedPerson.spare,
    "chain-other-output": SimulatedPerson.other_output,
    "old-bulb-lights": lambda p: _yes(p.w.game.driver_ok),
    "old-bulb-back": lambda p: _yes(p.w.game.needs_load),
}
