"""The recheck: say what changed, answer looks and single pixels, keep the map that was found. A task: frozen state, pure step.

An answer counts only for what the board has confirmed. It goes into the map as part of an open recheck before the inference
computes on, so that it is on disk before anything else is lit; the map itself stays as it is until the end, which is a
revision. A recheck that was not finished is offered again, as long as the chain is still what its answers were given about.

Undo goes back over what was said and answered here, also in an earlier run of the program; it is the recheck's own, because
nothing of that is in the map's own undo.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial

from probe.document.edit_text import parse_edit
from probe.document.edits import EditError, apply_edits
from probe.document.model import MAX_TEXT, PixelState, PlayfieldMap, shown_number, storable
from probe.document.model.open_recheck import OpenRecheck, begun_words, counted
from probe.recheck.colours import level_beside
from probe.recheck.engine import Options, Recheck
from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.model import (
    MOST_NAMED,
    Action,
    AllAsShown,
    Answer,
    AreaDiffers,
    AskStop,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    OtherChain,
    PlaceSeen,
    Probe,
    Setup,
    Stops,
    TakenOut,
)
from probe.recheck.entries import Entries, Name, entries_of, open_recheck, with_recheck, without_recheck
from probe.recheck.kept import Replayed, Unusable, digest, names_after, options_of, replayed, row_of
from probe.recheck.keys import RECHECK, PointAtPlace, Quick, SayQuick, Singles
from probe.recheck.state import ASKING, Advanced, Does, Rechecking, RecheckItem, RecheckStage, advanced
from probe.recheck.view import view
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Light
from probe.task.task import Next, Opened, Task
from probe.task.views import TaskView

LEAST_PLACED = 2
_SAYING = frozenset({RecheckStage.OFFER, RecheckStage.DECLARE})
_N = Next[Rechecking]
_Work = partial[Advanced] | partial[Replayed | Unusable]


@dataclass(frozen=True)
class RecheckFacts:
    """What a recheck is opened with: the chain, the changes known in words, and the number walked on that chain, if one was."""

    chain: str
    declared: tuple[str, ...] = ()
    number: int | None = None


class RecheckTask(Task[Rechecking]):
    """Recheck a chain."""

    name = "recheck"
    commands = RECHECK
    own_revision = False
    """What it found becomes a revision when it is kept; before that the map does not change."""

    def begin(self, s: Rechecking, now_s: float) -> _N:
        """What was changed before is a revision of its own: the recheck is about the map as it was then."""
        del now_s
        return s, (fx.MakeRevision(),)

    def step(self, s: Rechecking, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        del now_s
        match event:
            case ev.Typed(text):
                return replace(s, typed=text, chosen=0, message=""), ()
            case ev.Choose(by):
                size = len(s.items)
                return (replace(s, chosen=max(0, min(size - 1, s.chosen + by))), ()) if size else (s, ())
            case ev.Take(time):
                return _take(s, time)
            case SayQuick(answer):
                return _say(s, answer)
            case ev.Leave():
                return _leave(s)
            case PointAtPlace(x_mm, y_mm):
                return _point_at(s, x_mm, y_mm), ()
            case ev.NextChain():
                return _next_chain(s)
            case ev.ChangeLevel(by):
                level = level_beside(s.level, by)
                return replace(s, level=level, message=f"level {level} of 255"), ()
            case Singles():
                return _singles(s)
            case ev.Undo():
                return _undo(s)
            case ev.Redo():
                return replace(s, message="nothing to do again: answer anew"), (fx.Bell(),)
            case ev.JobStopped():
                return _leave(s)
            case ev.JobDone(tag, result):
                return _computed(s, result) if tag == s.tag else (s, ())
            case ev.MapChanged(words):
                return replace(_begun(s), message=words), ()
            case _:
                return None

    def light(self, s: Rechecking) -> Light:
        """What is asked about; nothing while nothing is asked."""
        return s.light

    def view(self, s: Rechecking) -> TaskView:
        """The question, the places with their colours, the picture, and how sure the map is."""
        return view(s)


def make(opened: Opened) -> tuple[RecheckTask, Rechecking]:
    """The recheck of a chain. Facts: `RecheckFacts`, or chain and number of the walk, or chain and changes in words
    (one text: changes that the map has already).

    Raises KeyError for an unknown chain.
    """
    assert opened.map is not None, "a recheck is opened with a map"
    told = ""
    match opened.facts:
        case (str() as chain, int() as number):
            facts = RecheckFacts(chain, number=number)
        case (str() as chain, str() as done):
            facts, told = RecheckFacts(chain), f"{done}. The map has it already: Enter alone, and the light proves it"
        case (str() as chain, tuple() as declared):
            facts = RecheckFacts(chain, declared)
        case RecheckFacts() as facts:
            pass
        case _:
            facts = RecheckFacts(opened.map.chains[0].id)
    state = start(opened.map, facts.chain, declared=facts.declared)
    return RecheckTask(), replace(state, opened_at=facts.number, plain_ascii=opened.plain_ascii, message=told)


def start(map_: PlayfieldMap, chain: str, *, declared: tuple[str, ...] = ()) -> Rechecking:
    """A recheck of one chain, nothing asked yet.

    `declared`: known changes in words; one that is not understood stays in the entry line, with why. If the map keeps answers
    of a recheck of this chain that still fit, going on with them is offered first. Raises KeyError for an unknown chain.
    """
    map_.chain(chain)
    state = _offered(Rechecking(map=map_, chain=chain))
    if state.stage is RecheckStage.OFFER:
        return replace(state, declared=declared)
    return _all_declared(state, declared)


def _begun(s: Rechecking) -> Rechecking:
    """Nothing asked, on a map that was changed elsewhere: what was asked may not be about it any more."""
    chain = s.chain if s.chain in s.map.chain_by_id else s.map.chains[0].id
    fresh = start(s.map, chain)
    return replace(fresh, board=s.board, unsaved=s.unsaved, level=s.level, tag=s.tag + 1, plain_ascii=s.plain_ascii)


# -- going on -------------------------------------------------------------------------------------------------------


def _offered(s: Rechecking) -> Rechecking:
    """With the offer to go on with what the map keeps of this chain, or with a sentence on why that cannot be."""
    kept = open_recheck(s.map, s.chain)
    if kept is None or not (kept.answers or kept.declared):
        return s
    again = _all_declared(s, kept.declared)
    rests = {digest(_entries(again), answered=answered) for answered in (True, bool(kept.answers))}
    fits = len(again.edits) == len(kept.declared) and kept.rests_on in rests
    if fits:
        return replace(s, stage=RecheckStage.OFFER, kept=kept, message=f"It was {begun_words(kept)}.")
    words = f"Left out: {counted(kept)}, {begun_words(kept)}. The chain was changed since then."
    return replace(s, message=words)


def _go_on(s: Rechecking) -> _N:
    kept = s.kept
    assert kept is not None
    if kept.answers and (why := _no_light(s)):
        return replace(s, message=why), (fx.Bell(),)
    blank = replace(s, stage=RecheckStage.DECLARE, declared=(), chosen=0, message="", past=(*s.past, s))
    s = _all_declared(blank, kept.declared)
    if not kept.answers:
        return s, ()
    entries = _entries(s)
    setup = entries.setup(declared=bool(s.edits), most_numbers=kept.most_numbers)
    looks = kept.looks and _has_pictures(s)
    s = replace(s, entries=entries, looks=looks, past=(*s.past, s))
    after, effects = _computing(s, partial(replayed, setup, options_of(kept.model_copy(update={"looks": looks})), kept))
    return replace(after, message=f"going on after {counted(kept)}"), effects


def _anew(s: Rechecking) -> _N:
    map_ = without_recheck(s.map, s.chain)
    blank = replace(s, map=map_, stage=RecheckStage.DECLARE, kept=None, declared=(), chosen=0, message="")
    return _all_declared(replace(blank, past=(*s.past, s)), s.declared), (fx.Commit(map_, "recheck begun anew"),)


# -- declaring ------------------------------------------------------------------------------------------------------


def _take(s: Rechecking, time: str) -> _N:
    """Enter: what is chosen or typed; at the end back to where the recheck was opened."""
    match s.stage:
        case RecheckStage.OFFER:
            return _go_on(s) if s.item is not None and s.item.does is Does.GO_ON else _anew(s)
        case RecheckStage.DECLARE:
            return _declare(s, time) if s.typed.strip() else _ask_first(s, time)
        case RecheckStage.LOOK | RecheckStage.COLOUR | RecheckStage.PROBE | RecheckStage.STOP:
            item = s.item
            if item is None:
                return replace(s, message="no place fits what is typed: Esc empties the line"), (fx.Bell(),)
            return _taken(s, item)
        case RecheckStage.DONE:
            return _keep(s, time)
        case RecheckStage.SAVED:
            if s.stops_at is not None:
                return s, (fx.Open("faults", (s.chain, "dark from", s.stops_at)),)
            return s, (_close(s),)
        case _:
            return s, ()


def _declare(s: Rechecking, time: str) -> _N:
    after = _declared(s)
    if after.message:
        return after, (fx.Bell(),)
    return _put_aside(after, _kept_of(after, _entries(after), time, answered=False))


def _declared(s: Rechecking) -> Rechecking:
    """The state after the words in the entry line; if they are not understood, the same with why."""
    words = storable(" ".join(s.typed.split()))
    if len(words) > MAX_TEXT:
        return replace(s, message="this is too long: 2,000 characters at most")
    try:
        map_ = apply_edits(s.map, s.edits)
        edit = parse_edit(_only(map_, s.chain), s.typed)
        apply_edits(map_, (edit,))
    except EditError as error:
        return replace(s, message=str(error))
    declared, past = (*s.declared, words), (*s.past, s)
    return replace(s, edits=(*s.edits, edit), declared=declared, typed="", message="", past=past)


def _all_declared(s: Rechecking, declared: tuple[str, ...]) -> Rechecking:
    """After several lines of words, up to the first that is not understood."""
    for words in declared:
        s = _declared(replace(s, typed=words))
        if s.message:
            break
    return s


def _entries(s: Rechecking) -> Entries:
    return entries_of(s.map, s.chain, s.edits)


def _kept_of(s: Rechecking, entries: Entries, time: str, *, answered: bool = True) -> OpenRecheck:
    """What there is to keep of a recheck before its first answer."""
    begun = s.kept.begun if s.kept is not None else time
    identity = s.board.identity
    return OpenRecheck(
        chain=s.chain,
        begun=begun,
        rests_on=digest(entries, answered=answered),
        declared=s.declared,
        most_numbers=identity.pixels if identity is not None else None,
        looks=s.looks,
    )


def _only(map_: PlayfieldMap, chain: str) -> PlayfieldMap:
    """The map with just this chain: that is the one that is spoken of."""
    kept = map_.bookmark if map_.bookmark is not None and map_.bookmark.chain == chain else None
    return map_.model_copy(update={"chains": (map_.chain(chain),), "bookmark": kept})


def _next_chain(s: Rechecking) -> _N:
    if s.stage not in _SAYING or s.edits:
        return replace(s, message="this chain first: its recheck has begun"), (fx.Bell(),)
    ids = [chain.id for chain in s.map.chains]
    following = ids[(ids.index(s.chain) + 1) % len(ids)]
    blank = {"stage": RecheckStage.DECLARE, "kept": None, "declared": (), "typed": "", "chosen": 0, "message": ""}
    return _offered(replace(s, chain=following, opened_at=None, **blank)), ()  # type: ignore[arg-type]


def _no_light(s: Rechecking) -> str:
    """Why nothing of this chain can be lit; empty if it can."""
    identity = s.board.identity
    if identity is None:
        return "no board: a recheck needs light. Plug it in, or pick its port"
    return f"this board has no output {s.here.output}" if s.here.output >= identity.outputs else ""


def _has_pictures(s: Rechecking) -> bool:
    return s.board.has("paint")


def _ask_first(s: Rechecking, time: str) -> _N:
    """All is said that is known: the first question."""
    identity = s.board.identity
    why = _no_light(s)
    if identity is None or why:
        return replace(s, message=why), (fx.Bell(),)
    entries = _entries(s)
    placed = sum(p.state is PixelState.PLACED for p in entries.chain.pixels)
    if placed < LEAST_PLACED:
        return replace(s, message="too few pixels of this chain have a place: walk it first"), (fx.Bell(),)
    setup = entries.setup(declared=bool(s.edits), most_numbers=identity.pixels)
    looks = s.looks and _has_pictures(s)
    s = replace(s, entries=entries, looks=looks, past=(*s.past, s))
    s = replace(s, kept=_kept_of(s, entries, time))
    return _computing(s, partial(_first, setup, options_of(_kept_of(s, entries, time))))


def _singles(s: Rechecking) -> _N:
    if not s.looks:
        return replace(s, message="single pixels it is already"), ()
    if s.stage in _SAYING:
        return replace(s, looks=False, message="single pixels only, no pictures"), ()
    if s.stage not in ASKING or s.now is None or s.kept is None:
        return replace(s, message="only while something is asked"), (fx.Bell(),)
    after = replace(s, looks=False, past=(*s.past, _at_list(s)))
    after, saves = _put_aside(after, s.kept.model_copy(update={"looks": False}))
    after, jobs = _computing(after, partial(_without_pictures, s.now.engine))
    return after, (*saves, *jobs)


# -- answering ------------------------------------------------------------------------------------------------------


def _at_list(s: Rechecking) -> Rechecking:
    """Back from a place's colours to the list of places."""
    return replace(s, stage=RecheckStage.LOOK, pointed=None) if s.stage is RecheckStage.COLOUR else s


def _point_at(s: Rechecking, x_mm: float, y_mm: float) -> Rechecking:
    """The row of the nearest place is marked; where no row has it, its name is typed."""
    entries = s.entries
    if entries is None or s.stage not in (RecheckStage.LOOK, RecheckStage.PROBE):
        return s
    spots = [
        (math.hypot(place.position.x_mm - x_mm, place.position.y_mm - y_mm), pairs[0], place.label)
        for pairs in entries.at_place.values()
        if (place := entries.place(pairs[0])) is not None and place.position is not None
    ]
    if not spots:
        return s
    _, entry, label = min(spots)
    s = replace(s, typed="", message="")
    row = next((row for row, item in enumerate(s.items) if entry in item.entries), None)
    return replace(s, chosen=row) if row is not None else replace(s, typed=label, chosen=0)


def _say(s: Rechecking, answer: Quick) -> _N:
    """An answer of one key."""
    if s.stage not in ASKING:
        return s, ()
    if why := _not_lit(s):
        return replace(s, message=why), (fx.Bell(),)
    if s.stage is RecheckStage.COLOUR:
        if answer is Quick.NOTHING_LIT:
            return _taken(s, RecheckItem(Does.COLOUR, "dark", colours=(UNLIT,)))
        return _at_list(s), ()
    match answer, s.stage:
        case Quick.NOT_SURE, _:
            return _taken(s, RecheckItem(Does.NOT_SURE, ""))
        case Quick.NOTHING_LIT, RecheckStage.PROBE:
            return _taken(s, RecheckItem(Does.NOTHING_LIT, ""))
        case Quick.EXTRA_LIGHT, RecheckStage.LOOK:
            return _taken(s, RecheckItem(Does.EXTRA_LIGHT, ""))
        case Quick.EXTRA_LIGHT, _:
            return replace(s, message="type the name of the new place, then Enter"), ()
        case _:
            return replace(s, message="point to the first place that differs, then say: dark"), (fx.Bell(),)


def _taken(s: Rechecking, item: RecheckItem) -> _N:
    """An item of the list."""
    if why := _not_lit(s):
        return replace(s, message=why), (fx.Bell(),)
    match item.does:
        case Does.AS_SHOWN:
            return _answered(s, AllAsShown())
        case Does.EXTRA_LIGHT:
            return _answered(s, ExtraLight())
        case Does.NOT_SURE:
            return _answered(s, NotSure())
        case Does.NOTHING_LIT:
            return _answered(s, NothingLit())
        case Does.DIFFERS:
            return replace(s, stage=RecheckStage.COLOUR, pointed=item, typed="", chosen=0, message=""), ()
        case Does.COLOUR:
            return _coloured(s, item.colours)
        case Does.OTHER_CHAIN if s.pointed is not None:
            return _answered(s, OtherChain(item.numbers[0], s.pointed.entries[0]))
        case Does.AREA_DIFFERS if s.pointed is not None:
            return _answered(s, AreaDiffers(s.pointed.entries[0]))
        case Does.THAT_IS_ALL:
            return _answered(s, Differs(s.gathered))
        case Does.DATA_STOP:
            return _answered(s, Stops())
        case Does.TAKEN_OUT:
            return _answered(s, TakenOut())
        case Does.AT_PLACE:
            return _at_place(s, item)
        case Does.NEW_PLACE:
            return _new_place(s, item)
        case _:
            return s, ()


def _not_lit(s: Rechecking) -> str:
    """Why an answer does not count now; empty if it does."""
    if s.is_lit:
        return ""
    if not s.board.here:
        return "no board, so nothing is lit"
    return s.board.refused or "it is not lit yet: wait for it, then answer"


def _answered(s: Rechecking, answer: Answer, *, name: Name | None = None) -> _N:
    """Keep an answer, then hand it to the inference; what was there before stays for undo.

    `name`: what the pixel that is lit is called from now on.
    """
    action, kept = s.action, s.kept
    assert action is not None
    assert kept is not None
    assert s.now is not None
    seen = Observation(action=action, answer=answer)
    row = row_of(seen, name=name, naming=s.naming)
    after = replace(
        s,
        gathered=(),
        names=names_after(s.names, seen, name),
        answers=s.answers + (0 if s.naming else 1),
        namings=s.namings + (1 if s.naming else 0),
        past=(*s.past, _at_list(s)),
    )
    after, saves = _put_aside(after, kept.model_copy(update={"answers": (*kept.answers, row)}))
    after, jobs = _computing(after, partial(_next, s.now.engine, action, answer))
    return after, (*saves, *jobs)


def _put_aside(s: Rechecking, kept: OpenRecheck) -> _N:
    """What is kept of this recheck goes into the map."""
    map_ = with_recheck(s.map, kept)
    return replace(s, map=map_, kept=kept), (fx.Commit(map_, "answers of a recheck"),)


def _coloured(s: Rechecking, colours: tuple[int, ...]) -> _N:
    """What a place shows: up to three are gathered, in the order of the list, and are one answer."""
    item = s.pointed
    if item is None:
        return _at_list(s), ()
    if not item.entries:
        return _answered(s, NewPlaceDiffers(item.numbers[0], colours[0]))
    gathered = (*s.gathered, PlaceSeen(item.entries[0], tuple(c for c in colours if c != UNLIT)))
    if len(gathered) == MOST_NAMED:
        return _answered(s, Differs(gathered))
    listed = _at_list(s)
    return replace(listed, gathered=gathered, typed="", chosen=0, message="", past=(*s.past, listed)), ()


def _at_place(s: Rechecking, item: RecheckItem) -> _N:
    assert s.now is not None
    assert isinstance(s.action, Probe)
    name = s.names.get(s.action.number)
    if name is not None and item.name is not None and name.place == item.name.place:
        # the new pixel is still where it was named
        return _answered(s, AtNewPlace(), name=name)
    return _answered(s, AtPlace(item.entries[0]))


def _new_place(s: Rechecking, item: RecheckItem) -> _N:
    name = item.name
    if name is None or not name.label.strip():
        return replace(s, message="type the name of the new place, then Enter"), (fx.Bell(),)
    if len(name.label) > MAX_TEXT:
        return replace(s, message="this label is too long: 2,000 characters at most"), (fx.Bell(),)
    return _answered(s, AtNewPlace(), name=name)


# -- the inference, as jobs beside the keys --------------------------------------------------------------------------


def _computing(s: Rechecking, work: _Work) -> _N:
    """Compute, and let nothing be asked meanwhile."""
    tag = s.tag + 1
    s = replace(s, stage=RecheckStage.THINK, tag=tag, typed="", chosen=0, pointed=None, message="")
    return s, (fx.Job(tag, work, "working out what to ask next"),)


def _first(setup: Setup, options: Options, progress: fx.Progress) -> Advanced:
    """Nothing asked yet."""
    progress.total = 2
    progress.step(0)
    engine = Recheck.start(setup, options)
    progress.step()
    return _asked_anew(engine, progress)


def _without_pictures(engine: Recheck, progress: fx.Progress) -> Advanced:
    """The same answers, and only single pixels from now on: as it would be after going on with them."""
    again = Recheck.start(engine.setup, replace(engine.options, looks=False))
    progress.total = len(engine.observations) + 1
    for seen in engine.observations:
        again = again.answered(seen.action, seen.answer)
        progress.step()
    return _asked_anew(again, progress)


def _next(engine: Recheck, action: Action, answer: Answer, progress: fx.Progress) -> Advanced:
    """One more answer."""
    progress.total = 2
    progress.step(0)
    after = engine.answered(action, answer)
    progress.step()
    return _asked_anew(after, progress)


def _asked_anew(engine: Recheck, progress: fx.Progress) -> Advanced:
    """What to ask next, of the answers that there are: the last step of a job."""
    progress.step(0)
    found = advanced(engine)
    progress.step()
    return found


def _computed(s: Rechecking, result: object) -> _N:
    match result:
        case Advanced():
            return _asked(s, result)
        case Replayed():
            return _went_on(s, result)
        case Unusable(why):
            blank = replace(s, stage=RecheckStage.DECLARE, kept=None, entries=None, edits=(), declared=())
            words = f"The answers kept cannot be used: {why}. They are left out."
            return replace(blank, message=words), (fx.Bell(),)
        case _:
            return s, ()


def _asked(s: Rechecking, now: Advanced) -> _N:
    """Ask what the inference wants to know, or show what was found."""
    before = s.now.doubts if s.now is not None else ()
    s = replace(s, now=now)
    stage = _stage_of(s)
    fresh = [index for index in now.doubts if index not in before]
    words = f"This does not fit the rest: {_answer_words(s, now.engine.observations[fresh[0]])}. " if fresh else ""
    words += "It is asked again." if fresh and stage is not RecheckStage.DONE else ""
    return replace(s, stage=stage, message=words or s.message), (fx.Bell(),) if fresh else ()


def _went_on(s: Rechecking, replay: Replayed) -> _N:
    """Where the kept answers lead; each of them can be taken back."""
    kept, map_, words = s.kept, s.map, s.message
    assert kept is not None
    for index, (one, now) in enumerate(zip(replay.given, replay.advanced, strict=False)):
        then = kept.model_copy(update={"answers": kept.answers[:index]})
        asked = replace(s, map=with_recheck(map_, then), kept=then, now=now, message="")
        asked = replace(asked, stage=_stage_of(asked))
        s = replace(
            asked,
            names=one.names,
            answers=s.answers + (not asked.naming),
            namings=s.namings + asked.naming,
            past=(*asked.past, asked),
        )
    s = replace(s, map=map_, kept=kept, stage=RecheckStage.THINK, now=replay.advanced[-2], message=words)
    return _asked(s, replay.advanced[-1])


def _stage_of(s: Rechecking) -> RecheckStage:
    if s.action is None:
        return RecheckStage.DONE
    if isinstance(s.action, AskStop):
        return RecheckStage.STOP
    return RecheckStage.LOOK if isinstance(s.action, Look) else RecheckStage.PROBE


def _answer_words(s: Rechecking, seen: Observation) -> str:
    """An earlier answer in words."""
    what = "the picture" if isinstance(seen.action, Look) else f"pixel {shown_number(seen.action.number)}"
    match seen.answer:
        case AtPlace() | Differs() if s.entries is not None:
            entry = seen.answer.place if isinstance(seen.answer, AtPlace) else seen.answer.seen[0].place
            place = s.entries.place(entry)
            label = place.label if place is not None else f"pixel {entry}"
            return f"{what}, {label}" + (" differed" if isinstance(seen.answer, Differs) else "")
        case NothingLit():
            return f"{what}, nothing lit"
        case AllAsShown():
            return f"{what}, all as shown"
        case _:
            return f"{what}, as answered"


# -- the end --------------------------------------------------------------------------------------------------------


def _keep(s: Rechecking, time: str) -> _N:
    """The map as found, as a revision."""
    map_ = s.outcome(time)
    fresh = len(map_.revisions) > len(s.map.revisions)
    words = f"revision {map_.revisions[-1].number}" if fresh else "nothing to save: nothing was changed or seen"
    kept = replace(s, map=map_, stage=RecheckStage.SAVED, message=words, past=(*s.past, s))
    return kept, (fx.Commit(map_, words),)


def _undo(s: Rechecking) -> _N:
    """Back to the question before, with what the map kept of the recheck then."""
    if not s.past:
        return replace(s, message="nothing to undo"), (fx.Bell(),)
    old = s.past[-1]
    back = replace(old, board=s.board, unsaved=s.unsaved, tag=s.tag + 1, level=s.level, message="undone")
    return back, (fx.Commit(old.map, "answer taken back"),) if old.map is not s.map else ()


def _leave(s: Rechecking) -> _N:
    """Esc: empty the line, or from a place's colours to the list; else out. What was answered is kept, to go on with."""
    if s.typed or s.stage is RecheckStage.COLOUR or s.gathered:
        return replace(_at_list(s), typed="", chosen=0, message="", gathered=()), ()
    words = "What was answered is kept: the recheck goes on where it was."
    open_still = s.stage not in (RecheckStage.OFFER, RecheckStage.SAVED) and bool(s.answers or s.namings)
    return s, (*((fx.Notify(words),) if open_still else ()), _close(s))


def _close(s: Rechecking) -> fx.Close:
    """Back to where it was opened, on this chain."""
    return fx.Close((s.chain, s.opened_at))
