"""The end of a fault search: repair, whether it helped, what is kept, undo; and a practice round to its score."""

from __future__ import annotations

from dataclasses import replace

import pytest

from probe.cautions import SOAK, SOLDERING
from probe.document.model.harness import Batch, Joint
from probe.document.operations import add_revision, replace_chain
from probe.document.revisions import last_undoable, recorded
from probe.faults.commands import COMMANDS, Heat
from probe.faults.engine import UNSURE
from probe.faults.knowledge import After
from probe.faults.log import kept, score
from probe.faults.search import start
from probe.faults.state import SearchMode
from probe.faults.view import details, repair_lines, sheet, view
from probe.task import events as ev
from probe.task.effects import Close, Instead, Open, TakeBack, TryAgain
from probe.task.light import Dark
from tests.faults.searching import NOW, K, Play, a_map, a_round, answer_all, begun, practised, repaired
from tests.support.examples import first_now


def test_a_repair_shows_the_joint_and_is_kept_with_its_date() -> None:
    map_ = a_map()
    chain = map_.chain("a")
    pixels = tuple(p.model_copy(update={"batch": "new" if n == 15 else "old"}) for n, p in enumerate(chain.pixels))
    joint = Joint(after=pixels[14].id, before=pixels[15].id, leaving_data="green")
    map_ = replace_chain(map_, chain.model_copy(update={"pixels": pixels, "joints": (joint,)}))
    old = Batch(id="old", name="First bag", five_volt="red", ground="white", data_in="blue", data_out="blue")
    new = Batch(id="new", name="Cheap bag [/x]", five_volt="white", ground="blue", data_in="red", data_out="red")
    map_ = map_.model_copy(update={"batches": (old, new)})
    play = Play(start(map_, "a", now=NOW))
    assert set(play.search.contexts) == {"unlike-colours", "mixed-batch"}
    play.plug().choose("start")
    repaired(play)
    lines = " ".join(repair_lines(play.search))
    assert (
        "data: the wire leaving 14 (15th) (pad DOUT, green) to the wire arriving at 15 (16th) (pad DIN, red)" in lines
    )
    assert "5 V: the wire leaving 14 (15th) (pad 5 V, red) to the wire arriving at 15 (16th) (pad 5 V, white)" in lines
    assert "unplugged" in lines
    assert play.shown() == Dark()
    play.choose("cured")
    assert play.mode() is SearchMode.DONE
    assert play.search.follow_up is After.RECHECK
    saved = play.committed()
    revision = saved.revisions[-1]
    assert revision.time == NOW
    assert "15 (16th) sits the wrong way round" in revision.reason
    assert any("last good pixel: 14 (15th)" in line for line in revision.changes)
    assert saved.chain("a").note.startswith("2025-03-16 fault repaired")
    assert last_undoable(saved) == revision


def test_a_remedy_that_did_not_help_leads_on() -> None:
    play = repaired(begun())
    play.choose("not-cured")
    assert play.search.session.rejected == {"next-backwards"}
    assert "still there" in play.search.message


def test_undo_goes_back_answer_by_answer_and_takes_back_what_was_kept() -> None:
    play = repaired(begun())
    before = play.search.map
    play.choose("cured")
    play.give(ev.Undo())
    assert play.mode() is SearchMode.REPAIR
    assert TakeBack() in play.effects
    assert play.search.map == before
    assert play.search.message == "undone"
    while play.search.past:
        play.give(ev.Undo())
    assert play.mode() is SearchMode.CONTEXT
    assert play.search.session.answers == ()
    assert play.search.board.here
    play.give(ev.Undo())
    assert "nothing to undo" in play.search.message


def test_an_unsaved_map_is_said_and_saved_again() -> None:
    play = repaired(begun()).choose("cured")
    play.search = replace(play.search, unsaved="disk full")
    assert view(play.search).unsaved == "disk full"
    play.give(ev.Retry())
    assert play.effects == (TryAgain(),)


def test_sheets_without_a_harness_name_functions() -> None:
    lines = sheet(a_map(), "a", -1)
    assert lines[0].startswith("Joint between the board and 0 (1st)")
    assert any("colour not noted" in line for line in lines)


@pytest.mark.parametrize("seed", first_now(range(1, 13), now=2))
def test_practice_is_played_to_the_planted_cause(seed: int) -> None:
    round_ = a_round(seed)
    play = practised(round_).plug()
    tries = 0
    while play.mode() is not SearchMode.DONE:
        if play.mode() is SearchMode.FINDING:
            first = next(i.key for i in play.search.items if i.key.startswith("repair:"))
            play.choose(first).choose("try")
            tries += 1
            assert tries < 8
        elif play.mode() is SearchMode.LAST_GOOD:
            k = round_.k
            play.choose("none") if k is None or k < 0 else play.type_in(str(k))
        else:
            reply = round_.answer(play.asked())
            play.type_in(reply.typed) if reply.typed else play.choose(reply.answer or UNSURE)
    assert play.search.outcome[0].startswith("That was it")
    assert play.search.outcome[1].startswith("Planted: ")
    assert "Score" in play.search.outcome[-1]


def test_giving_up_shows_the_fault_and_scores_nothing() -> None:
    play = practised(a_round(3))
    answer_all(play, k="3")
    play.choose("reveal")
    assert "Score 0 of 100" in play.search.outcome[-1]
    assert score(play.search, found=True) != score(play.search, found=False)


def test_a_fault_found_with_fewer_questions_than_are_free_scores_the_whole() -> None:
    play = practised(a_round(3))
    assert score(play.search, found=True).startswith("Score 100 of 100: 0 questions")
    assert score(play.search, found=False).startswith("Score 0 of 100")


def test_a_repair_is_compared_with_what_was_planted_and_the_remedy_is_told() -> None:
    round_ = a_round(4)
    planted = round_.planted.causes[0]
    other = next(cause.id for cause in K.causes if cause.id != planted)
    play = answer_all(practised(round_), k="3")
    play.search = replace(play.search, mode=SearchMode.REPAIR, repairing=other)
    play.choose("try")
    assert play.mode() is not SearchMode.DONE
    assert play.search.session.rejected == {other}
    play.search = replace(play.search, mode=SearchMode.REPAIR, repairing=planted)
    play.choose("try")
    assert play.mode() is SearchMode.DONE
    assert any(K.cause(planted).remedy.split(" {")[0][:12] in line for line in play.search.outcome)
    with pytest.raises(KeyError):
        K.cause("gremlins")


def test_what_follows_a_repair_opens_in_its_place_and_leaving_closes() -> None:
    play = repaired(begun()).choose("cured")
    assert play.choose("follow").effects == (Instead("recheck", ("a", ())),)
    play.search = replace(play.search, alone=True)
    assert play.choose("follow").effects == (Instead("walk"), Open("recheck", ("a", ())))
    assert play.choose("leave").effects == (Close("leave"),), "the program is left, as nothing lies below"


def test_a_joint_opened_at_an_unknown_place_still_carries_the_cautions() -> None:
    play = repaired(begun())
    play.search = replace(play.search, session=replace(play.search.session, k=None), repairing="joint-open")
    lines = repair_lines(play.search)
    assert set(SOLDERING) <= set(lines)
    assert not any(line.startswith("Joint between") for line in lines)


def test_what_was_open_becomes_a_revision_of_its_own_before_the_repairs() -> None:
    map_ = a_map()
    map_ = add_revision(map_, time="2025-01-01T00:00:00Z", reason="began", changes=())
    renamed = map_.model_copy(update={"machine": map_.machine.model_copy(update={"note": "a new flipper"})})
    after = kept(recorded(map_, renamed), "a", time=NOW, reason="fault repaired", lines=("one answer",))
    session, repair = after.revisions[-2:]
    assert any("a new flipper" in line for line in session.changes)
    assert repair.reason == "fault repaired"
    assert repair.changes[-1] == "one answer"
    assert not any("flipper" in line for line in repair.changes)


def test_heat_pressed_by_mistake_can_be_taken_back() -> None:
    play = begun()
    asked, lit = play.asked(), play.shown()
    play.give(Heat())
    assert play.search.session.unsafe
    play.give(ev.Undo())
    assert play.asked() == "heat"
    play.choose("no")
    assert not play.search.session.unsafe
    assert play.asked() == asked
    assert type(play.shown()) is type(lit)


def test_what_another_search_changed_is_taken_back_without_going_there() -> None:
    play = begun()
    other = replace(play.search, chain="b", mode=SearchMode.DONE)
    asked = play.asked()
    play.give(ev.MapChanged("undone: a repair", other))
    assert (play.search.chain, play.asked(), play.mode()) == ("a", asked, SearchMode.QUESTION)
    assert play.search.message == "undone: a repair"
    play.give(ev.MapChanged("undone", replace(play.search, mode=SearchMode.CONTEXT)))
    assert play.mode() is SearchMode.CONTEXT


def test_cautions_name_the_key_that_stops_everything() -> None:
    (key,) = next(command.keys for command in COMMANDS if command.event == Heat())
    play = begun()
    assert f"{key.upper()} and off" in SOAK
    assert any(f"{key.upper()}, then off" in line for line in details(replace(play.search, mode=SearchMode.CONTEXT)))
