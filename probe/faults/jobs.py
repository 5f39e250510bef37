"""Jobs within a fault search that have questions of their own: halving, exact colours, the flex log, the return wire."""

from __future__ import annotations

from dataclasses import replace

from device_protocol.orders import CountChain
from probe.document.model import shown_number
from probe.document.operations import replace_chain
from probe.document.plural import many
from probe.faults.asking import next_question
from probe.faults.byte_order import ColourLook, decide
from probe.faults.engine import UNSURE, answered
from probe.faults.flexlog import FlexLog, joint_name
from probe.faults.locate import BreakSearch, ReturnWire
from probe.faults.log import kept, with_flex_notes
from probe.faults.state import FaultSearch, SearchMode, lights
from probe.task.effects import Ask, Bell, Commit, Effects
from probe.task.task import Next

MOST_LOOKED_AT = 8
MOST_COMPUTED = 24
"""Pixels beyond those looked at: where bytes run out, the end of a chain goes dark, not the pixels looked at."""
MORE_SENT = 32

COUNT = "count"
"""The tag of the question how many pixels come back."""
TIMES = 8

Result = Next[FaultSearch]


# Halving


def begin_halving(search: FaultSearch, now_s: float) -> Result:
    """Look for the edge between right and wrong."""
    return lights(
        replace(search, mode=SearchMode.HALVING, halving=BreakSearch(search.length), chosen=0, message=""), now_s
    )


def halved(search: FaultSearch, key: str, now_s: float) -> Result:
    """An answer about the pixel that was lit."""
    if search.halving is None or key == "end":
        return lights(next_question(search), now_s)
    where = search.halving.answered({"yes": True, "no": False}.get(key))
    if where.pixel is not None and where.found is None and not where.whole:
        return lights(replace(search, halving=where, chosen=0), now_s)
    if where.whole:
        words = "every pixel lights as it should: the break comes and goes, or it is no break"
        return lights(replace(next_question(search), message=words), now_s)
    k, bad = where.between
    words = f"good up to {shown_number(k)}" if k >= 0 else "not even the first one is good"
    if bad - k > 1:
        words += f", first known bad one {shown_number(bad)}"
    found = next_question(replace(search, session=replace(search.session, k=k)))
    return lights(replace(found, message=words), now_s)


# Exact colours


def begin_colours(search: FaultSearch, now_s: float) -> Result:
    """Ask what each colour looks like."""
    return lights(
        replace(search, mode=SearchMode.COLOURS, looks=(), fits=(), narrowed=(), chosen=0, typed="", message=""), now_s
    )


def looked_at(search: FaultSearch) -> int:
    """How many pixels a look reports on: enough for the patterns to show."""
    return max(1, min(MOST_LOOKED_AT, search.length))


def parse_look(text: str, sent: str, count: int) -> ColourLook:
    """What is typed for a colour sent: letters lit at each of the first pixels (`G`, `GW`, `-` for dark), one word if all
    look alike. Raises ValueError."""
    words = text.upper().split()
    if not words or len(words) > count:
        raise ValueError(f"type one word if all look alike, or a word for each of the first pixels, {count} at most")
    for word in words:
        if word != "-" and (set(word) - set("RGBW")):
            raise ValueError(f"{word!r} is not made of R, G, B, W, and it is not - for dark")
    seen = [frozenset() if word == "-" else frozenset(word) for word in words]
    return ColourLook(sent, tuple(seen * count if len(seen) == 1 else seen))


def look_given(search: FaultSearch, key: str, now_s: float) -> Result:
    """An answer about one colour, or what to do with what was found."""
    count = looked_at(search)
    if key == "back":
        return lights(replace(search, mode=SearchMode.FINDING, chosen=0, message=""), now_s)
    if key == "set-order":
        return _order_set(search, now_s)
    if key.startswith("drive:"):
        return _driven(search, key.removeprefix("drive:"), now_s)
    sent = "RGBW"[len(search.looks)]
    if key == UNSURE:
        look = ColourLook(sent, (None,) * count)
    else:
        try:
            look = parse_look(search.typed, sent, count)
        except ValueError as exc:
            return replace(search, message=str(exc)), (Bell(),)
    search = replace(search, looks=(*search.looks, look), typed="", chosen=0, message="")
    if len(search.looks) < len(search.here.order):
        return lights(search, now_s)
    sent_to = max(1, min(MOST_COMPUTED, search.length))
    fits = decide(search.looks, driven=search.here.order, count=sent_to)
    if search.narrowed:
        fits = tuple(fit for fit in fits if fit in search.narrowed)
    words = colour_words(replace(search, fits=fits))
    if not fits:
        search = replace(search, looks=())
    return lights(replace(search, fits=fits, message=words), now_s)


def colour_words(search: FaultSearch) -> str:
    """What the looks say, in a sentence."""
    fits = search.fits
    if not fits:
        return "no byte order explains this: look again, pixel by pixel"
    uniform = [fit.order for fit in fits if fit.odd_number is None]
    if uniform == [search.here.order]:
        return f"every pixel shows what it is told: the order {uniform[0]} is right"
    if len(uniform) == 1:
        return f"all pixels take their colours in the order {uniform[0]}, and the board sends {search.here.order}"
    if uniform:
        return f"these orders look alike so far: {', '.join(uniform[:6])}"
    odd = fits[0]
    if len(fits) == 1 and odd.odd_number is not None:
        return f"{shown_number(odd.odd_number)} takes its colours in the order {odd.odd_order}, the rest in {odd.order}"
    places = sorted({fit.odd_number for fit in fits if fit.odd_number is not None})
    return f"one odd pixel: {', '.join(shown_number(n) for n in places[:4])}, order {odd.odd_order or '?'} or alike"


def _driven(search: FaultSearch, order: str, now_s: float) -> Result:
    """Set another order for a second look that tells apart what looks alike under the first."""
    chain = search.here.model_copy(update={"order": order})
    map_ = replace_chain(search.map, chain)
    search = replace(search, map=map_, narrowed=search.fits, looks=(), fits=(), chosen=0, typed="", message="")
    search, effects = lights(search, now_s)
    return search, (Commit(map_, f"order {order} set for a second look"), *effects)


def _order_set(search: FaultSearch, now_s: float) -> Result:
    order = next(fit.order for fit in search.fits if fit.odd_number is None)
    chain = search.here.model_copy(update={"order": order})
    map_ = replace_chain(search.map, chain)
    search = replace(
        search,
        map=map_,
        mode=SearchMode.REPAIR if search.repairing else SearchMode.FINDING,
        chosen=0,
        looks=(),
        fits=(),
    )
    search, effects = lights(search, now_s)
    words = f"order {order} is set and kept in the map"
    return replace(search, message=words), (Commit(map_, words), *effects)


# Flex log


def begin_flex(search: FaultSearch, now_s: float) -> Result:
    """Touch joint after joint while one frame holds, or colours march."""
    asked = search.question.pattern if search.question is not None and search.mode is SearchMode.QUESTION else None
    log = FlexLog(search.length, asked.name if asked is not None else "hold-one")
    return lights(replace(search, mode=SearchMode.FLEX, flex=log, flex_from=search.map, chosen=0, message=""), now_s)


def flexed(search: FaultSearch, key: str, time: str, now_s: float) -> Result:
    """An answer about one joint."""
    log = search.flex
    if log is None:
        return search, ()
    if key == "end":
        return _flex_over(search, log, now_s)
    log = log.answered({"yes": True, "no": False}.get(key))
    before = search.flex_from or search.map
    reacted = [touched.joint for touched in log.changed]
    map_ = with_flex_notes(before, search.chain, time=time, lines=log.notes(), reacted=reacted)
    search = replace(search, flex=log, map=map_, chosen=0)
    light: Effects = ()
    if log.joint is None:
        search, light = _flex_over(search, log, now_s)
    else:
        search = replace(search, message=f"{joint_name(log.answers[-1].joint)}: noted" if key == "yes" else "")
        if key == "yes":  # what a change left behind would hide the next one: the held frame is sent anew
            search, light = lights(search, now_s)
    return search, (Commit(map_, f"{joint_name(log.answers[-1].joint)}: flex test"), *light)


def _flex_over(search: FaultSearch, log: FlexLog, now_s: float) -> Result:
    done = (
        f"flex log kept in the map: {len(log.changed)} of {many(len(log.answers), 'joint')} reacted"
        if log.answers
        else ""
    )
    search = replace(search, flex=None, flex_from=None, chosen=0, message=done)
    asked = search.question
    if asked is None:
        return lights(replace(search, mode=SearchMode.CONTEXT), now_s)
    if log.changed and search.session.k is None:
        search = replace(search, session=replace(search.session, k=log.changed[0].joint - 1))
    whole = log.joint is None
    answer = "lags" if log.changed and asked.id == "march-flex" else None
    if not log.changed and whole:
        answer = next(a.id for a in asked.answers if a.normal)
    if answer is None:  # what stayed behind is the person's to say
        return lights(replace(search, mode=SearchMode.QUESTION), now_s)
    session = answered(search.knowledge, search.session, observation=asked.id, answer=answer)
    return lights(replace(next_question(replace(search, session=session)), message=done), now_s)


# Return wire


def begin_return(search: FaultSearch, now_s: float) -> Result:
    """Count the chain from its far end, again and again."""
    identity = search.board.identity
    if identity is None:
        return replace(search, message="no board: nothing can be counted"), (Bell(),)
    if not identity.has("count"):
        words = "this board has no input for a return wire (feature count)"
        return replace(search, message=words), (Bell(),)
    sent = min(identity.pixels, search.length + MORE_SENT)
    search = replace(search, mode=SearchMode.RETURN, returned=ReturnWire(sent), chosen=0, message="")
    return counted_again(lights(search, now_s)[0])


def counted_again(search: FaultSearch) -> Result:
    """Ask for one more count, unless one is under way."""
    identity, back = search.board.identity, search.returned
    if (
        search.mode is not SearchMode.RETURN
        or identity is None
        or back is None
        or back.waiting
        or not identity.has("count")
    ):
        return search, ()
    sent = min(identity.pixels, back.sent * 2) if back.nothing_back else back.sent
    if sent != back.sent:
        back = ReturnWire(sent)
    return replace(search, returned=replace(back, waiting=True)), (
        Ask((CountChain(search.here.output, sent, TIMES),), COUNT),
    )


def return_words(back: ReturnWire, length: int) -> str:
    """What the counts say, in a line."""
    if back.length is None:
        return "counting"
    if back.nothing_back:
        return f"nothing came back of {back.sent} pixels sent: is the wire on the last pixel's data output?"
    words = f"{back.length} pixels found, {back.drops} drop-outs in {back.asked} counts"
    return words + ("" if back.length == length else f"; the map says {length}")


def return_over(search: FaultSearch, key: str, time: str, now_s: float) -> Result:
    """Leave the return wire, and keep the counts."""
    back = search.returned
    effects: Effects = ()
    words = ""
    if key == "end" and back is not None and back.length is not None:
        counts = return_words(back, search.length)
        map_ = kept(
            search.map, search.chain, time=time, reason=f"return wire on {search.here.name}: {counts}", lines=()
        )
        words = "kept in the map's log"
        search, effects = replace(search, map=map_), (Commit(map_, words),)
    search, light = lights(replace(search, mode=SearchMode.CONTEXT, chosen=0), now_s)
    return replace(search, message=words), effects + light


# Soak


def begin_soak(search: FaultSearch, now_s: float) -> Result:
    """Slow colours at the ceiling for a long time, to catch what fails warm."""
    return lights(replace(search, mode=SearchMode.SOAK, soaking_s=now_s, chosen=0, message=""), now_s)


def soak_words(search: FaultSearch, now_s: float) -> str:
    """How long the soak has run."""
    return f"{max(0.0, now_s - (now_s if search.soaking_s is None else search.soaking_s)) / 60:.1f} min"


def soak_over(search: FaultSearch, key: str, time: str, now_s: float) -> Result:
    """Leave the soak, and keep when it went wrong or how long it did not."""
    ran = soak_words(search, now_s)
    effects: Effects = ()
    words = ""
    if key != "back":
        words = f"trouble after {ran}" if key == "yes" else f"{ran} without trouble"
        map_ = kept(search.map, search.chain, time=time, reason=f"soak of {search.here.name}: {words}", lines=())
        search, effects = replace(search, map=map_), (Commit(map_, words),)
    where = SearchMode.CONTEXT if search.diagnosis is None else SearchMode.FINDING
    search, light = lights(replace(search, mode=where, soaking_s=None, chosen=0), now_s)
    return replace(search, message=f"{words}: kept in the map's log" if words else ""), effects + light
