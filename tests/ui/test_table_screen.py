"""The map table on screen: rows are marked and changed in place by keys; the table keeps where it was scrolled to."""

from __future__ import annotations

from probe.task import events as ev
from tests.runtime.contract_tasks import two_chains
from tests.ui.conftest import OpenApp, text_of


async def test_rows_are_marked_and_changed_by_keys(open_app: OpenApp) -> None:
    async with open_app(two_chains(), size=(80, 24)) as stage:
        await stage.lit()
        stage.app.runtime.dispatch(ev.GoOpen("table"))
        await stage.pilot.pause(0.2)
        await stage.pilot.press("home", "space", "space")
        await stage.pilot.pause(0.1)
        assert text_of(stage.app).count("■") == 2
        screen = stage.app.screen
        screen.action_command("table.edit.AREA")  # type: ignore[attr-defined]
        await stage.pilot.pause(0.1)
        await stage.pilot.press(*"Kelp", "enter")
        await stage.app.settled()
        await stage.pilot.pause(0.1)
        assert [place.area for place in stage.app.document.map.places] == ["Kelp", "Kelp", ""]
        assert "■" not in text_of(stage.app)
        await stage.pilot.press("ctrl+z")
        await stage.app.settled()
        assert [place.area for place in stage.app.document.map.places] == ["", "", ""]
        await stage.pilot.press("ctrl+y", "escape")
        await stage.app.settled()
        (made,) = stage.app.document.map.revisions
        assert len(made.changes) == 2, "one revision for all that was changed in the table"
