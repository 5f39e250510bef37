"""What the map tells the fault finder - contexts and wire colours - and what it is told to keep."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from probe.document.model import MAX_TEXT, Chain, PixelState, PlayfieldMap, storable
from probe.document.model.harness import Batch
from probe.document.operations import add_revision, grown, replace_chain
from probe.document.revisions import revised
from probe.document.wiring import joint_at
from probe.faults.context import Facts
from probe.faults.joint import Function, JointWire
from probe.task.sessions import session_closed

_DAY_S = 86_400.0
_ADDED_DAYS = 2.0


def facts(m: PlayfieldMap, chain_id: str, *, now: str) -> Facts:
    """Facts about a chain from its map's revisions, pixels, joints and batches. `now`: RFC 3339 text."""
    chain = m.chain(chain_id)
    splices = [r for r in m.revisions if chain_id in r.rewired]
    last = splices[-1] if splices else None
    since = None if last is None else days_between(last.time, now)
    names = {batch.id: batch.name for batch in m.batches}
    seen = [p for p in chain.pixels if p.verified or p.state in (PixelState.PLACED, PixelState.HIDDEN)]
    proved = {p.verified for p in chain.pixels if p.verified and (last is None or p.verified > last.number)}
    first_right = next((r.time for r in m.revisions if r.number in proved), None)
    return Facts(
        pixels_verified=len(seen),
        days_since_splice=since,
        days_working=None if first_right is None else days_between(first_right, now),
        splice_near=_splice(chain, now) if last is not None else None,
        batches=[names.get(p.batch, p.batch) for p in chain.pixels if p.batch is not None],
    )


def days_between(earlier: str, later: str) -> float | None:
    """Days from one RFC 3339 time (or bare date) to another; None if one of them cannot be read."""
    times = []
    for text in (earlier, later):
        try:
            time = datetime.fromisoformat(text)
        except ValueError:
            return None
        times.append(time if time.tzinfo is not None else time.replace(tzinfo=UTC))
    return round((times[1] - times[0]).total_seconds() / _DAY_S, 1)


def _splice(chain: Chain, now: str) -> int | None:
    """The number of the first pixel that sits behind a joint made in the last days, or else of one not seen yet."""
    at = {pixel.id: number for number, pixel in enumerate(chain.pixels)}
    fresh = []
    for joint in chain.joints:
        days = days_between(joint.made_on, now) if joint.made_on else None
        if days is not None and days <= _ADDED_DAYS and joint.before in at:
            fresh.append(at[joint.before])
    fresh = fresh or [n for n, pixel in enumerate(chain.pixels) if pixel.state is PixelState.UNSEEN]
    return min(fresh, default=None)


def joint_wires(m: PlayfieldMap, chain_id: str, k: int) -> tuple[JointWire, ...]:
    """The wires of the joint between k (-1: the board) and k+1 with the colours that the map's harness notes.

    Empty when the map does not hold that joint.
    """
    chain = m.chain(chain_id)
    if not -1 <= k < len(chain.pixels) - 1:
        return ()
    joint = joint_at(chain, k + 1)
    batches = {batch.id: batch for batch in m.batches}
    leaving = batches.get(chain.pixels[k].batch or "") if k >= 0 else None
    arriving = batches.get(chain.pixels[k + 1].batch or "")
    return (
        JointWire(
            Function.FIVE,
            joint.leaving_5v or _own(leaving, "five_volt"),
            joint.arriving_5v or _own(arriving, "five_volt"),
        ),
        JointWire(
            Function.GROUND,
            joint.leaving_ground or _own(leaving, "ground"),
            joint.arriving_ground or _own(arriving, "ground"),
        ),
        JointWire(
            Function.DATA,
            joint.leaving_data or _own(leaving, "data_out"),
            joint.arriving_data or _own(arriving, "data_in"),
        ),
    )


def _own(batch: Batch | None, wire: str) -> str:
    return "" if batch is None else str(getattr(batch, wire))


def kept(m: PlayfieldMap, chain_id: str, *, time: str, reason: str, lines: Sequence[str]) -> PlayfieldMap:
    """The map with a dated line in the chain's note, as a revision whose changes hold `lines` too.

    An open session becomes a revision of its own first. When the note is full, the log of revisions alone holds it.
    """
    m = session_closed(m, time=time)
    chain = m.chain(chain_id)
    line = f"{time[:10]} {reason}"
    note = storable(f"{chain.note}\n{line}" if chain.note else line)
    listed = tuple(_short(text) for text in lines)
    if len(note) > MAX_TEXT:
        return add_revision(m, time=time, reason=_short(reason), changes=listed)
    after = replace_chain(m, chain.model_copy(update={"note": note}))
    after = revised(m, after, time=time, reason=_short(reason))
    last = after.revisions[-1]
    last = last.model_copy(update={"changes": (*last.changes, *listed)})
    return after.model_copy(update={"revisions": (*after.revisions[:-1], last)})


def with_flex_notes(
    m: PlayfieldMap, chain_id: str, *, time: str, lines: Sequence[str], reacted: Sequence[int]
) -> PlayfieldMap:
    """The map with a flex log: dated lines in the chain's note, a word at each pixel whose joint reacted.

    What no longer fits into a note goes into the log of revisions, so that nothing is lost.
    """
    day = time[:10]
    chain = m.chain(chain_id)
    text = "\n".join(f"{day} {line}" for line in lines)
    note = f"{chain.note}\n{text}" if chain.note else text
    if reacted:
        chain = grown(chain, max(reacted) + 1)
    pixels = list(chain.pixels)
    for number in reacted:
        word = f"{day} flex: the joint arriving here reacted"
        old = pixels[number].note
        longer = f"{old}; {word}" if old else word
        if len(longer) <= MAX_TEXT:
            pixels[number] = pixels[number].model_copy(update={"note": longer})
    fits = len(note) <= MAX_TEXT
    update = {"pixels": tuple(pixels)} | ({"note": storable(note)} if fits else {})
    m = replace_chain(m, chain.model_copy(update=update))
    return m if fits else kept(m, chain_id, time=time, reason=f"flex test of {chain.name}", lines=lines)


def _short(text: str) -> str:
    return storable(text)[:MAX_TEXT]
