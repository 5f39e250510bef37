"""A simulated person at a model wiring, who looks, measures and swaps, and answers from what the model gives.

Nothing comes from a table of the fault finder. Some answers can be made wrong on purpose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from random import Random
from typing import Protocol

from device_protocol.values import DARK
from probe.patterns.patterns import frame, pattern
from probe.patterns.pictures import RED, whole
from probe.practice.behaviour import Quality, data_path, head_signal, rails, shares_ground
from probe.practice.eyes import Eyes
from probe.practice.plant import Planted
from probe.practice.wiring import OPEN_OHM, ChipOutput, Flex, ModelWiring, Plug

LEAST_V = 3.3
"""Below it a good pixel does nothing (as `Chip.least_v`)."""


class AskedAnswer(Protocol):
    """One answer that a question offers."""

    @property
    def id(self) -> str:
        """What the answer is known by."""


class Asked(Protocol):
    """What the person has to know of a question. `meter` is empty where no reading is wanted."""

    @property
    def id(self) -> str:
        """What the question is known by."""

    @property
    def needs_k(self) -> bool:
        """Whether it can be asked only where a last good pixel is known."""

    @property
    def meter(self) -> str:
        """The measurement whose reading is typed."""

    @property
    def answers(self) -> Sequence[AskedAnswer]:
        """The answers it offers."""


@dataclass(frozen=True)
class PersonReply:
    """The id of an answer (None: not sure), or what was typed for a reading; and the last good pixel where the look
    shows it."""

    answer: str | None = None
    typed: str = ""
    k: int | None = None


class SimulatedPerson(Eyes):
    """Answers for one planted wiring. `wrong`: share of answers replaced by another one at random (0 to 1)."""

    def __init__(self, planted: Planted, *, seed: int, wrong: float = 0.0) -> None:
        if not 0 <= wrong <= 1:
            raise ValueError(f"the share of wrong answers is from 0 to 1, not {wrong}")
        super().__init__(planted, rng=Random(f"person {seed}"))
        self.wrong = wrong

    def answer(self, asked: Asked) -> PersonReply:
        """The reply to a question. Raises KeyError for one this person cannot do."""
        if asked.needs_k and self.k is None:
            return PersonReply()
        reply = _HANDS[asked.id](self)
        made = PersonReply(typed=reply) if asked.meter else PersonReply(answer=reply)
        if asked.id == "look":
            made = replace(made, k=self.k)
        if self.rng.random() < self.wrong:
            right = None if asked.meter else made.answer
            others = [answer.id for answer in asked.answers if answer.id != right]
            return PersonReply(answer=self.rng.choice(others), k=made.k)
        return made

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
        if not shares_ground(self.w, self.now):
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
        if self.w.joints[k + 1].data_rail or self.w.joints[k + 1].crossed in (Plug.DATA_FIVE, Plug.DATA_GROUND):
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
        if not shares_ground(self.w, self.now):
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
        crossed = {Plug.FIVE_GROUND: ("five", "ground"), Plug.DATA_FIVE: ("five",), Plug.DATA_GROUND: ("ground",)}
        if rail in crossed.get(joint.crossed, ()):  # the wire measured along is not joined there
            return self.typed(0.8 + 2.5 * self.w.chance, "V")
        if rail == "ground" and joint.ground_apart:
            return self.typed(0.3 + 1.5 * self.w.chance, "V")
        if self.w.chips[k + 1].unfed and (rail == "five") == (self.w.chance < 0.6):  # the probe's tip on the pad itself
            return self.typed(1.0 + 2.0 * self.w.chance, "V")
        amps = float(rails(self.w, self.load()).joint_a[k + 1])
        return self.typed(abs(amps) * (joint.five_ohm if rail == "five" else joint.ground_ohm), "V")

    def volts(self, number: int) -> str:
        """Volts at a pixel under load."""
        return self.typed(float(rails(self.w, self.load()).volts[number]), "V", 0.003)

    def fade_edge(self) -> str:
        """Whether most of what is lost along the chain is lost at one joint."""
        volts = rails(self.w, self.load()).volts
        steps = [float(before - after) for before, after in pairwise(volts)]
        return "edge" if max(steps, default=0.0) > max(0.3, 0.5 * sum(steps)) else "gradual"

    def joint_ohms(self) -> str:
        """DOUT of k to DIN of k+1, power off."""
        k = self._place()
        joint = self.w.joints[k + 1]
        moved = joint.flex is Flex.DATA_OPENS and joint.open_at_rest
        moved = moved and not self.w.chips[k].pad_torn
        apart = (
            self.w.chips[k + 1].backwards
            or moved
            or joint.crossed in (Plug.DATA_FIVE, Plug.DATA_GROUND)
            or self.w.passed_by == k + 1
            or self.w.teed == k + 1
        )
        return self.typed(OPEN_OHM if apart else joint.data_ohm, "ohm")

    def data_to_rail(self) -> str:
        """Lowest ohms from the wire leaving k to a rail, power off."""
        joint = self.w.joints[self._place() + 1]
        onto_rail = joint.crossed in (Plug.DATA_FIVE, Plug.DATA_GROUND) and self.w.chance < 0.5  # read at the far end
        touches = joint.data_rail or onto_rail or (joint.flex is Flex.DATA_SHORTS and joint.open_at_rest)
        if joint.leaks:
            return self.typed(150 + 400 * self.w.chance, "ohm")
        if not touches and self.touch_side() in ("out", "in"):  # a stage or an input that has burnt through
            return self.typed(20 + 150 * self.w.chance, "ohm")
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
        if self.w.reversed_from is not None and self.w.chance < 0.25:  # some meters bias the reversed chips' diodes
            return self.typed(1.2, "ohm")
        return self.typed(self.w.supply.short_ohm if short else 150 + 2_000 * self.w.chance, "ohm")

    def fuse_ohms(self) -> str:
        """The feeds' fuses, one of which may have gone; a dead short and a tail fed backwards may have blown it."""
        supply = self.w.supply
        blown = (supply.short_at is not None or self.w.reversed_from is not None) and self.w.chance > 0.7
        blown = blown or any(joint.unfed for joint in self.w.joints)
        return self.typed(OPEN_OHM if blown or not (supply.fuse_ok and supply.far_fuse_ok) else 0.1, "ohm")

    def supply_lamp(self) -> str:
        """The supply's own lamp."""
        if self.w.supply.volts == 0:
            return "off"
        return "blinks" if self.dims()[0].pulsing or self.bright().pulsing else "on"

    def grounds_ohms(self) -> str:
        """Board's GND to the first pixel's, all off and the charger out."""
        head = self.w.head
        apart = not head.common_ground or head.plug in (Plug.DATA_GROUND, Plug.FIVE_GROUND)
        return self.typed(OPEN_OHM if apart else 0.4, "ohm")

    def pads(self) -> str:
        """The first joint whose wires are crossed, by the pad print."""
        found = (_PLUGS[joint.crossed] for joint in self.w.joints if joint.crossed is not Plug.RIGHT)
        return next(found, "right")

    def papers(self) -> str:
        """Volts and speed that the pixels' papers name."""
        chip = self.w.chips[0]
        if chip.khz != 800 or self.w.settings.khz != 800:
            return "speed"
        return "volts" if chip.least_v > 5 or (chip.leds > 1 and self.w.chance < 0.5) else "usual"

    def feed_drop(self) -> str:
        """Volts lost between the supply and the first pixel under load."""
        supply, plug = self.w.supply, self.w.head.plug
        if not supply.fuse_ok:
            return self.typed(supply.volts, "V")
        if plug is not Plug.RIGHT:
            return self.typed(0.4 + supply.volts * self.w.chance, "V")
        return self.typed(float(rails(self.w, self.load()).joint_a[0]) * supply.source_ohm, "V")

    def feed_ground(self) -> str:
        """Ohms from the supply's minus to the first pixel's GND, all off and the board's cables out."""
        apart = self.w.supply.ground_by_cable or self.w.head.plug in (Plug.DATA_GROUND, Plug.FIVE_GROUND)
        return self.typed(OPEN_OHM if apart else 0.3, "ohm")

    def touch_side(self) -> str:
        """Where the data line behind k has low ohms, its wire off at both ends."""
        place = self._place()
        joint = self.w.joints[place + 1]
        if joint.data_rail or (joint.flex is Flex.DATA_SHORTS and joint.open_at_rest):
            return "wire" if self.w.chance < 0.7 else "in"
        if joint.leaks:
            return "in" if self.w.chance < 0.6 else "wire"
        if self.w.chips[place + 1].input_low:
            return "in"
        if self.w.chips[place].output is ChipOutput.DEAD and self.w.chance < 0.35:
            return "out"
        return "none"

    def dies(self) -> str:
        """Whether k or k+1 has more or fewer colours than most: one that swallows too few bytes looks right itself."""
        sizes = sorted(len(chip.order) for chip in self.w.chips)
        usual = sizes[len(sizes) // 2]
        odd = {len(self.w.chips[self._place() + at].order) for at in (0, 1)} - {usual}
        return "same" if not odd else "more" if odd.pop() > usual else "fewer"

    def arrow_next(self) -> str:
        """Which way k+1 and those after it point."""
        at = self._place() + 1
        if not self.w.chips[at].backwards:
            return "yes"
        return "run" if self.w.chips[at + 1].backwards else "no"

    def charger(self) -> str:
        """Whether the trouble comes or goes with an earthed charger."""
        if self.w.supply.ground_by_cable:
            return "cures" if self.w.chance < 0.7 else "no"
        plugged, out = (
            head_signal(self.w, whole(RED, self.w.settings.count), 5.0, replace(self.now, charger=there)).quality
            for there in (True, False)
        )
        return "no" if plugged is out else "cures" if plugged is Quality.GOOD else "worse"

    # Trying

    def settings_flip(self) -> str:
        """Which other setting cures it."""
        chips, settings = self.w.chips, self.w.settings
        if self.colour_picture() == "nothing":
            return "none"
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

        def lit(w: ModelWiring) -> int:
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
        lit, wanted = self.walked(number)
        return "yes" if lit == [wanted] else "no"

    def probe_next(self) -> str:
        """A good pixel on the wire that arrives at k+1, taken off its pad."""
        k = self._place()
        picture = frame(pattern("all-numbers"), self.chain, 0).picture
        wires = self.w.with_chip(k + 1, replace(self.w.chips[k + 1], backwards=False, input_low=False))
        if self.touch_side() == "in":
            wires = wires.with_joint(k + 1, replace(wires.joints[k + 1], data_rail="", leaks=False))
        data = data_path(wires, picture, rails(wires, picture), self.now)
        return {Quality.GOOD: "right", Quality.WILD: "odd", Quality.NONE: "dark"}[data.at_din[k + 1].quality]

    def probe_first(self) -> str:
        """A good pixel between the wires that arrive and the first pixel; it sends the board's data on at its own level."""
        picture = frame(pattern("all-numbers"), self.chain, 0).picture
        volts = rails(self.w, picture).volts[0]
        bent = self.w.head.from_end or self.w.settings.khz != self.w.chips[0].khz  # the pixels' own, not the wires'
        wires = replace(
            self.w,
            head=replace(self.w.head, from_end=False),
            settings=replace(self.w.settings, khz=self.w.chips[0].khz),
        )
        arrives = head_signal(wires, picture, float(volts), self.now).quality
        if volts < LEAST_V or arrives is Quality.NONE or self.w.joints[0].data_rail:
            return "dark"
        if arrives is Quality.GOOD:  # its own output is strong enough for a leak behind it
            return "cures" if self.w.joints[0].leaks else "right"
        low = not bent and self.w.head.logic_v < 4 and self.w.chance > 0.6
        return "cures" if low else "odd"

    def jumper(self, source: int, target: int) -> str:
        """A wire from one DIN to another's; the rest are those after the target."""
        changed = replace(self.w, data_taps=((source, target),))
        return "yes" if self.right_after(changed, target + 1) else "no"

    def short_lead(self) -> str:
        """A short new data lead."""
        head = replace(self.w.head, lead_m=0.2, data_open=False)
        changed = replace(self.w, head=head)
        if self.w.joints[0].flex is Flex.DATA_OPENS:
            changed = changed.with_joint(0, replace(self.w.joints[0], flex=Flex.FIRM))
        steady = changed.joints[0].flex is not self.w.joints[0].flex
        return "yes" if steady or self.cured(changed) else "no"

    def spare(self) -> str:
        """A good pixel on a short lead at this output."""
        head, settings = self.w.head, self.w.settings
        fed = self.w.supply.volts > 4 and self.w.supply.short_at is None
        board = head.answers and head.output_ok and head.on_set_output
        fits = settings.khz == 800 and settings.latch_us >= 280
        level = head.logic_v > 3.5 or self.w.chips[0].high_v is not None or self.w.chance > 0.5
        level = level and not head.shifter
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

    def lens(self) -> str:
        """What shows at the pads of k and k+1 and between them."""
        place = self._place()
        joint, shows = self.w.joints[place + 1], self.w.chance < 0.6
        burnt = self.w.chips[place + 1].input_low or self.w.chips[place].output is ChipOutput.DEAD
        burnt = burnt or not any(chip.input_ok for chip in self.w.chips)
        loose = joint.flex in (Flex.DATA_OPENS, Flex.FIVE_OPENS) or (
            (max(joint.data_ohm, joint.five_ohm) >= OPEN_OHM and not joint.unfed) or self.w.chips[place + 1].unfed
        )
        if shows and (joint.data_rail or joint.leaks):
            return "wet" if joint.leaks else "bridge"
        if shows and loose:
            return "loose"
        return "burnt" if burnt and self.w.chance < 0.3 else "none"

    def lens_first(self) -> str:
        """What shows at the first pixel's pads and the wire to them."""
        first, shows = self.w.chips[0], self.w.chance < 0.6
        if shows and (self.w.joints[0].data_rail or self.w.joints[0].leaks):
            return "wet" if self.w.joints[0].leaks else "bridge"
        if shows and (self.w.head.data_open or self.w.joints[0].flex is Flex.DATA_OPENS):
            return "loose"
        return "burnt" if not first.input_ok and self.w.chance < 0.3 else "none"

    def head_to_rail(self) -> str:
        """Lowest ohms from the first DIN to a rail, the board's plug out."""
        first = self.w.chips[0]
        if self.w.joints[0].data_rail:
            return self.typed(0.6, "ohm")
        if self.w.joints[0].leaks:
            return self.typed(200 + 500 * self.w.chance, "ohm")
        return self.typed(20 + 150 * self.w.chance if first.input_low else 47_000.0, "ohm")

    def volts_supply(self) -> str:
        """Volts at the supply's screws under load."""
        if self.w.supply.volts == 0:
            return self.typed(0.0, "V")
        at, supply = rails(self.w, self.load()), self.w.supply
        volts = 0.4 * supply.volts if self.w.head.plug is Plug.FIVE_GROUND else supply.volts
        if supply.fuse_ok and at.collapsed and self.w.head.plug is not Plug.FIVE_GROUND:
            volts = float(at.volts[0] + at.joint_a[0] * (supply.source_ohm + self.w.joints[0].five_ohm))
        return self.typed(volts, "V", 0.003)

    def hold_flex(self) -> str:
        """One frame held, joints touched."""
        kinds = {self.w.joints[i].flex for i in self.loose()}
        if Flex.FIVE_OPENS in kinds:
            return "dark"
        return "odd" if (kinds or self.w.head.ground_loose) and self.w.chance < 0.6 else "clean"

    def march_flex(self) -> str:
        """Colours change slowly, joints touched."""
        return "lags" if self.loose() or (self.w.head.ground_loose and self.w.chance > 0.4) else "follows"

    def hold_game(self) -> str:
        """One frame held while the game plays."""
        shaken = bool(self.loose()) and self.w.chance < 0.5
        return "marks" if self.w.game.coil_noise or shaken else "clean"


def _yes(value: object) -> str:
    return "yes" if value else "no"


_PLUGS = {Plug.RIGHT: "right", Plug.DATA_GROUND: "data-gnd", Plug.DATA_FIVE: "data-five", Plug.FIVE_GROUND: "five-gnd"}

_HANDS: dict[str, Callable[[SimulatedPerson], str]] = {
    "link-answers": lambda p: _yes(p.w.head.answers),
    "restarted": lambda p: _yes(p.bright().restarted or (p.w.head.cable_loose and p.w.chance < 0.5)),
    "replies-damaged": lambda p: _yes(p.w.head.loses_bytes),
    "heat": lambda p: _yes(p.planted.hot),
    "look": SimulatedPerson.look,
    "colours": SimulatedPerson.colour_picture,
    "walk": SimulatedPerson.walk,
    "when": SimulatedPerson.when,
    "after-work": lambda p: _yes(p.planted.after_work),
    "direct-3v3": lambda p: _yes(p.w.head.logic_v < 4 and not p.w.head.shifter),
    "lead-long": lambda p: _yes(p.w.head.lead_m > 1.5),
    "gap-long": lambda p: _yes(p.w.joints[p._place() + 1].metres > 1),
    "supply-kind": lambda p: p.w.supply.kind,
    "load-steps": SimulatedPerson.load_steps,
    "all-outputs": SimulatedPerson.all_outputs,
    "next-right": SimulatedPerson.next_right,
    "below": lambda p: "lit" if any(c.hidden for c in p.w.chips) else "dark",
    "idle-glow": lambda p: _yes(any(c.stuck for c in p.w.chips)),
    "arrow-first": lambda p: _yes(not p.w.head.from_end),
    "arrow-next": SimulatedPerson.arrow_next,
    "pads-first": lambda p: _PLUGS[p.w.head.plug],
    "staple": lambda p: _yes(any(j.staple or (j.data_rail and p.w.chance < 0.4) for j in p.w.joints)),
    "two-wires": lambda p: _yes(p.w.teed is not None),
    "passed-by": lambda p: _yes(p.w.passed_by is not None),
    "chip-kind": lambda p: "three" if p.w.chips[0].leds > 1 else "one",
    "new-port": lambda p: _yes(p.w.head.answers or p.w.chance < (0.15 if p.w.head.dead else 0.4)),
    "lens": SimulatedPerson.lens,
    "lens-first": SimulatedPerson.lens_first,
    "ground-links": lambda p: "more" if p.w.game.second_ground else "one",
    "volts-supply": SimulatedPerson.volts_supply,
    "head-to-rail": SimulatedPerson.head_to_rail,
    "ceiling-low": lambda p: _yes(p.w.settings.held_down),
    "cable-moves": lambda p: _yes(p.w.head.cable_loose),
    "other-cable": lambda p: _yes(not p.w.head.dead),
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
    "pads-next": lambda p: _PLUGS[p.w.joints[p._place() + 1].crossed],
    "pads-joints": SimulatedPerson.pads,
    "fuse-ohms": SimulatedPerson.fuse_ohms,
    "supply-lamp": SimulatedPerson.supply_lamp,
    "charger": SimulatedPerson.charger,
    "ground-ohms": SimulatedPerson.grounds_ohms,
    "supplies-ground": lambda p: p.typed(OPEN_OHM if any(j.ground_apart for j in p.w.joints) else 0.3, "ohm"),
    "dies": SimulatedPerson.dies,
    "papers": SimulatedPerson.papers,
    "feed-drop": SimulatedPerson.feed_drop,
    "fade-edge": SimulatedPerson.fade_edge,
    "feed-ground": SimulatedPerson.feed_ground,
    "touch-side": SimulatedPerson.touch_side,
    "cover": lambda p: "gone" if p.w.leaks_at is not None else "stays",
    "supply-open": lambda p: p.typed(-p.w.supply.volts if p.w.head.plug is Plug.FIVE_GROUND else p.w.supply.volts, "V"),
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
    "probe-first": SimulatedPerson.probe_first,
    "jumper-first": lambda p: p.jumper(0, 1),
    "jumper-k": lambda p: p.jumper(p._place(), p._place() + 1),
    "jumper-next": lambda p: p.jumper(p._place() + 1, p._place() + 2),
    "far-feed": lambda p: _yes(
        p.cured(replace(p.w, supply=replace(p.w.supply, far_feed=True, far_fuse_ok=True, far_ground_ok=True)))
    ),
    "short-lead": SimulatedPerson.short_lead,
    "spare-same-output": SimulatedPerson.spare,
    "chain-other-output": SimulatedPerson.other_output,
    "old-bulb-lights": lambda p: _yes(p.w.game.driver_ok),
    "old-bulb-back": lambda p: _yes(p.w.game.needs_load),
}
