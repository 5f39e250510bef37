"""The power plan on screen: voltage along the chain, what can be changed, and what it comes to, live."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.content import Content
from textual.widgets import Static

from probe.cautions import Moment
from probe.harness import planning
from probe.harness.base import PowerError
from probe.harness.entries import power_entries
from probe.harness.picture import AXIS_WIDTH, Role, picture, profile_of, thinned
from probe.harness.planning import Planning
from probe.harness.words import power_sections, suggestion_line, verdict
from probe.ui.keys import bindings
from probe.ui.planning import CautionScreen, Desk, EntriesScreen, titled
from probe.ui.text import cut, plain

_STYLES = {
    Role.PLAIN: "",
    Role.AXIS: "dim",
    Role.LINE: "#E69F00",
    Role.ENOUGH: "bold #56B4E9",
    Role.LOW: "bold reverse #D55E00",
    Role.FEED: "#F0E442",
    Role.PLACE: "dim",
}


class PowerScreen(EntriesScreen):
    """Plan the power of one chain at a time."""

    KEY_SCOPE: ClassVar[str] = "power"
    BINDINGS: ClassVar[list[BindingType]] = list(bindings("power"))

    def __init__(self, desk: Desk, open_harness: Callable[[], None], *, plain_ascii: bool = False) -> None:
        super().__init__(desk)
        self._open_harness = open_harness
        self._plain_ascii = plain_ascii

    def compose(self) -> ComposeResult:
        yield Static(id="plan-head")
        yield Static(id="plan-picture")
        yield from self.middle()
        yield from self.typing_row()

    def on_mount(self) -> None:
        super().on_mount()
        self.rest()

    def show(self, state: Planning) -> None:
        """Draw a state."""
        chains = state.map.chains
        chain = state.map.chain(state.chain)
        at = f" · {chains.index(chain) + 1} of {len(chains)} (F6)" if len(chains) > 1 else ""
        name = cut(chain.name, max(8, self.size.width // 3))
        head = f" Power · {name}{at} · {verdict(state.reckoned)}"
        self.query_one("#plan-head", Static).update(plain(cut(head, max(20, self.size.width))))
        self.query_one("#plan-picture", Static).update(self._picture(state))
        self.fill(power_entries(state.map, state.chain), state.made)
        self.read(self._report(state))

    def _picture(self, state: Planning) -> Content:
        width, height = self.size.width, max(9, min(18, self.size.height * 5 // 12))
        if self.size.height < 16:
            return Content("")
        try:
            profile = profile_of(state.reckoned, state.chain_name, state.load)
            drawn = picture(
                thinned(profile, columns=width - AXIS_WIDTH), width=width, height=height, ascii_only=self._plain_ascii
            )
        except (PowerError, ValueError) as error:
            return plain(f"no picture: {error}")
        rows = []
        for row in drawn.rows:
            line = Content("")
            for span in row:
                line = line.append(plain(span.text, _STYLES[span.role]))
            rows.append(line)
        return Content("\n").join(rows)

    def _report(self, state: Planning) -> list[Content]:
        lines: list[Content] = []
        for section in power_sections(state.reckoned):
            lines += titled(section.title, section.lines)
        return lines

    def action_load(self) -> None:
        """At the ceiling, in typical play, full white."""
        self.app.conductor.take(planning.NextLoad())

    def action_feed(self) -> None:
        """One more feed; the best place is proposed."""
        best = self.state.reckoned.suggestion
        here = best is not None and best.chain == self.state.chain_name
        value = str(best.pixel) if best is not None and here else ""
        hint = suggestion_line(self.state.reckoned) if here else "the pixel's number, from 0"
        self.ask("Feed at pixel", planning.AddFeed, value=value, hint=hint)

    def action_supply(self) -> None:
        """One more supply."""
        self.ask("Supply's name", planning.AddSupply, hint="such as: supply in the cabinet")

    def action_levels(self) -> None:
        """Levels of places."""
        self.ask(
            "Pixels and level of their places", planning.SetLevels, hint="14 128, or 10-20 64, or all 200; - forgets"
        )

    def action_harness(self) -> None:
        """The harness sheet."""
        self._open_harness()

    def action_cautions(self) -> None:
        """The cautions for planning."""
        self.app.push_screen(CautionScreen(Moment.PLANNING))
