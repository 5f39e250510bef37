"""The shared conversations on the compiled firmware: all boards have to agree."""

from __future__ import annotations

import pytest

from tests.firmware import build
from tests.firmware.adapters import AvrUnderTest, HostUnderTest
from tests.firmware.host_board import HostBoard
from tests.firmware.simulated_avr import SimulatedAvr
from tests.protocol.conversation import Conversation, all_conversations, run_conversation
from tests.support.examples import first_now

CONVERSATIONS = all_conversations()


def test_there_are_conversations_for_the_shared_board() -> None:
    assert sum(conversation.for_shared_board for conversation in CONVERSATIONS) >= 10


@pytest.mark.slow
@pytest.mark.parametrize("conversation", CONVERSATIONS, ids=lambda conversation: conversation.name)
def test_on_the_host_program(conversation: Conversation) -> None:
    with HostBoard(build.build_host(build.config_for(conversation.board))) as board:
        run_conversation(conversation, HostUnderTest(board))


def play_on_avr(conversation: Conversation, *, early_overrun: bool) -> None:
    """Play a conversation on a chip that flags an overrun at once, or with the byte after the loss."""
    elf = build.build_avr(build.config_for(conversation.board))
    outputs = int(conversation.board["outputs"])
    with SimulatedAvr(elf, paused=True, outputs=outputs, early_overrun=early_overrun) as chip:
        run_conversation(conversation, AvrUnderTest(chip))


@pytest.mark.parametrize(
    "conversation", first_now(CONVERSATIONS, now=len(CONVERSATIONS) // 3), ids=lambda conversation: conversation.name
)
def test_on_the_simulated_avr(conversation: Conversation) -> None:
    play_on_avr(conversation, early_overrun=False)


@pytest.mark.parametrize(
    "conversation", [each for each in CONVERSATIONS if "lost" in each.verbs], ids=lambda conversation: conversation.name
)
def test_on_the_simulated_avr_with_the_overrun_flagged_at_once(conversation: Conversation) -> None:
    play_on_avr(conversation, early_overrun=True)


@pytest.mark.slow
@pytest.mark.parametrize("machine", build.MACHINES)
def test_on_machines_unlike_this_one(machine: str) -> None:
    """Bytes the other way round, 32-bit words: the core's answers and frames are the same."""
    shared = [conversation for conversation in CONVERSATIONS if conversation.for_shared_board]
    program = build.build_for_machine(machine, build.config_for(shared[0].board))
    for conversation in shared:
        with HostBoard(program) as board:
            run_conversation(conversation, HostUnderTest(board))
