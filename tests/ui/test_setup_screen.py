"""The set-up of a new map on screen, driven by keys, against a simulated board."""

from __future__ import annotations

from device_protocol.board import ChainWiring
from probe.document.file import load_map
from tests.ui.conftest import OpenApp, text_of


async def test_a_new_map_is_set_up_and_walked(open_app: OpenApp) -> None:
    wiring = ChainWiring.of_places(f"a:{n}" for n in range(12))
    async with open_app(None, wirings=[wiring]) as stage:
        await stage.pilot.pause(0.2)
        assert "Which machine is this?" in text_of(stage.app)
        await stage.pilot.press(*"Kelp", "space", *"Forest", "enter")
        for _ in range(100):
            await stage.pilot.pause(0.02)
            if "● lit" in text_of(stage.app):
                break
        assert "Does anything light?" in text_of(stage.app)
        assert len(stage.board.lit()) == 8
        await stage.pilot.press("enter")
        await stage.app.settled()
        await stage.pilot.pause(0.1)
        assert "Which colour do you see?" in text_of(stage.app)
        for _ in range(6):
            await stage.app.settled()
            if "how many pixels" in text_of(stage.app):
                break
            colour = stage.board.shown(0)[0]
            at = 0 if colour.red else 1 if colour.green else 2
            await stage.pilot.press(*["down"] * at, "enter")
            await stage.pilot.pause(0.1)
        assert stage.board.lit() == ()
        await stage.pilot.press("enter")
        await stage.pilot.pause(0.1)
        await stage.pilot.press(*"12", "enter")
        await stage.pilot.pause(0.1)
        await stage.pilot.press("enter", "enter")
        await stage.lit()
        assert "0 (1st) of 12" in text_of(stage.app)
    (chain,) = load_map(stage.path).chains
    assert (chain.name, chain.count, chain.order) == ("Playfield", 12, "GRB")
