"""What was proved in the game, and what of it still holds. Pure.

A lamp counts as proved as long as its pixels, levels and colours are what they were when it was looked at, and no later
revision rewired a chain that they are on.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum

from probe.document.lamp_table import LampTable, TablePixel, fingerprint, lamp_table, revision_of
from probe.document.local_time import local_minute
from probe.document.model import PlayfieldMap
from probe.document.model.game import Discrepancy, Proof, Verdict
from probe.document.model.record import MAX_TEXT, storable
from probe.document.operations import folded
from probe.frozen import frozen


class Standing(Enum):
    """What is known of a lamp or group. The value is the word for screens and papers."""

    PROVED = "proved"
    CHANGED = "changed since"
    WRONG = "wrong"
    UNSEEN = "not seen"
    NEVER = "not proved"


@frozen
class Proved:
    """A lamp (or, where that is None, the always-on part of a group), its state, and the last proof of it."""

    lamp: int | None
    group: str
    names: tuple[str, ...]
    pixels: tuple[TablePixel, ...]
    state: Standing
    proof: Proof | None

    @property
    def title(self) -> str:
        """How it is called."""
        if self.lamp is None:
            return self.group
        return f"{self.lamp} {' / '.join(self.names)}".strip()


def standings(map_: PlayfieldMap, table: LampTable | None = None) -> tuple[Proved, ...]:
    """Every lamp by number, then every group, with what was proved of it. For screens and the cabinet sheet."""
    table = lamp_table(map_) if table is None else table
    last: dict[tuple[int | None, str], Proof] = {}
    for proof in map_.proofs:
        last[proof.lamp, "" if proof.lamp is not None else folded(proof.group)] = proof
    rewired: dict[int, int] = {}
    for revision in map_.revisions:
        for chain in revision.rewired:
            if chain in map_.chain_by_id:
                rewired[map_.chain(chain).output] = revision.number
    found = []
    for row in table.lamps:
        seen = last.get((row.number, ""))
        found.append(Proved(row.number, "", row.names, row.pixels, _state(seen, row.pixels, rewired), seen))
    for group in table.groups:
        seen = last.get((None, folded(group.name)))
        found.append(Proved(None, group.name, (), group.always_on, _state(seen, group.always_on, rewired), seen))
    return tuple(found)


def _state(proof: Proof | None, pixels: tuple[TablePixel, ...], rewired: Mapping[int, int]) -> Standing:
    """`rewired`: for outputs whose chain was rewired, the last revision that did it."""
    if proof is None:
        return Standing.NEVER
    touched = max((rewired.get(pixel.output, 0) for pixel in pixels), default=0)
    if proof.revision < touched or proof.pixels != fingerprint(pixels):
        return Standing.CHANGED
    return {Verdict.RIGHT: Standing.PROVED, Verdict.WRONG: Standing.WRONG, Verdict.UNSEEN: Standing.UNSEEN}[
        proof.verdict
    ]


@frozen
class Tally:
    """How much is proved. `last_time` is that of the newest proof, empty if there is none."""

    proved: int
    changed: int
    wrong: int
    open: int
    last_time: str

    @property
    def total(self) -> int:
        """Lamps and groups with pixels."""
        return self.proved + self.changed + self.wrong + self.open

    @property
    def short(self) -> str:
        """The shortest form."""
        return f"proved {self.proved}/{self.total}"

    @property
    def words(self) -> str:
        """One line for screens and papers."""
        if not self.total:
            return "no lamp has a pixel yet"
        parts = [f"{self.proved} of {self.total} proved since the last change"]
        parts += [f"{self.changed} changed since"] if self.changed else []
        parts += [f"{self.wrong} wrong"] if self.wrong else []
        parts += [f"last {local_minute(self.last_time)}"] if self.last_time else []
        return ", ".join(parts)


def tally(map_: PlayfieldMap) -> Tally:
    """Counts of lamps and groups with pixels, by what is proved of them."""
    states = [found.state for found in standings(map_) if found.pixels]
    proved, changed = states.count(Standing.PROVED), states.count(Standing.CHANGED)
    wrong = states.count(Standing.WRONG)
    times = [proof.time for proof in map_.proofs]
    return Tally(proved, changed, wrong, len(states) - proved - changed - wrong, max(times, default=""))


def add_proof(
    map_: PlayfieldMap, proved: Proved, verdict: Verdict, *, time: str, by_table: bool, note: str = ""
) -> PlayfieldMap:
    """The map with a proof of this lamp or group, replacing earlier ones of it."""
    made = Proof(
        lamp=proved.lamp,
        group="" if proved.lamp is not None else storable(proved.group),
        verdict=verdict,
        time=time,
        revision=revision_of(map_),
        pixels=fingerprint(proved.pixels),
        by_table=by_table,
        note=storable(note),
    )
    kept = tuple(p for p in map_.proofs if (p.lamp, folded(p.group)) != (made.lamp, folded(made.group)))
    return map_.model_copy(update={"proofs": (*kept, made)})


def add_observation(
    map_: PlayfieldMap, *, time: str, lamp: int | None, predicted: str, seen: str, place: str | None = None
) -> PlayfieldMap:
    """The map with a note of something seen in the game that it does not predict."""
    made = Discrepancy(
        time=time,
        revision=revision_of(map_),
        lamp=lamp,
        predicted=storable(predicted)[:MAX_TEXT],
        seen=storable(seen)[:MAX_TEXT],
        place=place,
    )
    return map_.model_copy(update={"observations": (*map_.observations, made)})


def drop_observation(map_: PlayfieldMap, at: int) -> PlayfieldMap:
    """The map without one of these notes."""
    return map_.model_copy(update={"observations": (*map_.observations[:at], *map_.observations[at + 1 :])})
