"""The program's settings, changed inside: what can be set, which values there are, and what each does. A task.

A change holds at once and is remembered by the effect `ChangeSetting`; nothing here knows of a file.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from probe.document.operations import new_map
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.command import Command, Means
from probe.task.light import AsBelow, Light
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import FormEntry, FormView, Line, Pane

_STEP_PERCENT = 5


@dataclass(frozen=True)
class SettingChoice:
    """A value of a setting, as it is stored, as it is shown, and what it does."""

    value: object
    words: str
    does: str = ""


@dataclass(frozen=True)
class SettingRow:
    """A setting: what it is for, and the values there are; none where it is a number from `least` to `most`."""

    name: str
    label: str
    group: str
    does: str
    choices: tuple[SettingChoice, ...] = ()
    usual: object = None
    least: int = 1
    most: int = 100
    unit: str = ""

    def words(self, value: object) -> str:
        """A value as it is shown."""
        found = next((choice.words for choice in self.choices if choice.value == value), None)
        return found if found is not None else f"{value} {self.unit}".strip()


def _switch(on: str, off: str) -> tuple[SettingChoice, ...]:
    return SettingChoice(False, "no", off), SettingChoice(True, "yes", on)


SETTINGS = (
    SettingRow(
        "theme",
        "Colours",
        "Screen",
        "The colours of every screen. No state is shown by colour alone.",
        (
            SettingChoice("dark-shop", "dark shop", "dim greys; what is lit is the brightest thing"),
            SettingChoice("high-contrast", "high contrast", "black, white and yellow"),
            SettingChoice("light-room", "light room", "dark on a light ground, for a bright workshop"),
        ),
        "dark-shop",
    ),
    SettingRow(
        "signs",
        "Drawing",
        "Screen",
        "What the playfield and other pictures are drawn with. Take the first that your terminal's font shows whole.",
        (
            SettingChoice("fine", "fine dots", "lines of braille dots: ⢀⠤⠒⠉⠑⠢⡀"),
            SettingChoice("blocks", "blocks", "lines of block signs, half as fine: ▗▄▀▀▄▖"),
            SettingChoice("ascii", "ASCII", "only the signs of a typewriter, on every screen: .-'-."),
        ),
        "fine",
    ),
    SettingRow(
        "brightness_percent",
        "Lit pixel",
        "Light",
        "How bright the walk lights a pixel. Dimmer is kinder to the eyes in the dark and to a USB port. The chain's "
        "current ceiling holds whatever this is.",
        usual=25,
        unit="%",
    ),
    SettingRow(
        "steady_only",
        "Steady light only",
        "Light",
        "For people whom flashing light harms or disturbs.",
        _switch(
            "nothing flashes or alternates by itself; comparisons stand side by side",
            "test patterns may change, three times a second at most",
        ),
        False,
    ),
    SettingRow(
        "bell",
        "Bell",
        "Sound",
        "The terminal's bell when the board is lost or found, or an answer was not taken.",
        _switch("it sounds", "it is silent"),
        True,
    ),
)


@dataclass(frozen=True)
class PickSetting:
    """The setting in hand."""

    name: str


@dataclass(frozen=True)
class StepSetting:
    """The next value of the setting in hand, or the one before."""

    by: int


@dataclass(frozen=True)
class UsualSetting:
    """The setting in hand as it is where nobody has changed it."""


COMMANDS = (
    Command("settings.take", Means.DO, "Change", ev.Take(), shown=True),
    Command("settings.step.1", Means.RIGHT, "Next value", StepSetting(1), shown=True),
    Command("settings.step.-1", Means.LEFT, "Value before", StepSetting(-1)),
    Command("settings.usual", Means.MORE, "The usual value", UsualSetting(), shown=True, letter="u"),
    Command("settings.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)


@dataclass(frozen=True, kw_only=True)
class SettingsState(TaskState):
    """The values that hold now, which setting is in hand, and the line in which a number is typed, if it is open."""

    values: Mapping[str, object] = field(default_factory=dict)
    at: str = SETTINGS[0].name
    typed: str | None = None

    @property
    def setting(self) -> SettingRow:
        """The setting in hand."""
        return next(setting for setting in SETTINGS if setting.name == self.at)


class SettingsTask(Task[SettingsState]):
    """The settings, each with what it does."""

    name = "settings"
    commands = COMMANDS
    own_revision = False

    def step(self, s: SettingsState, event: object, now_s: float) -> Next[SettingsState] | None:
        """The state after an event, and what is to be done."""
        match event:
            case PickSetting(name):
                return replace(s, at=name, typed=None, message=""), ()
            case ev.Choose(by):
                names = [setting.name for setting in SETTINGS]
                return replace(s, at=names[(names.index(s.at) + by) % len(names)], typed=None, message=""), ()
            case ev.Typed(text) if s.typed is not None:
                return replace(s, typed=text, message=""), ()
            case ev.Take() if s.typed is not None:
                return self._number(s, s.typed)
            case ev.Take() if not s.setting.choices:
                return replace(s, typed=str(s.values[s.at]), message=""), ()
            case ev.Take():
                return self._step(s, 1)
            case StepSetting(by):
                return self._step(s, by)
            case UsualSetting():
                return self._set(s, s.setting.usual)
            case ev.SettingChanged(name, value):
                return replace(s, values={**s.values, name: value}), ()
            case ev.Leave() if s.typed is not None:
                return replace(s, typed=None, message=""), ()
            case _:
                return None

    def _step(self, s: SettingsState, by: int) -> Next[SettingsState]:
        setting, value = s.setting, s.values[s.at]
        if not setting.choices:
            assert isinstance(value, int), "a setting without choices is a number"
            stepped = (value // _STEP_PERCENT + by) * _STEP_PERCENT
            return self._set(s, max(setting.least, min(setting.most, stepped)))
        values = [choice.value for choice in setting.choices]
        at = values.index(value) if value in values else -1 if by > 0 else 0
        return self._set(s, values[(at + by) % len(values)])

    def _number(self, s: SettingsState, text: str) -> Next[SettingsState]:
        setting = s.setting
        digits = text.strip().removesuffix(setting.unit).strip()
        if not (digits.isascii() and digits.isdecimal() and setting.least <= int(digits[:6]) <= setting.most):
            words = f"a whole number from {setting.least} to {setting.most}, please: {text.strip()[:20]!r} is none"
            return replace(s, message=words), (fx.Bell(),)
        return self._set(s, int(digits))

    def _set(self, s: SettingsState, value: object) -> Next[SettingsState]:
        done = replace(s, values={**s.values, s.at: value}, typed=None, message="")
        return done, (() if s.values[s.at] == value else (fx.ChangeSetting(s.at, value),))

    def light(self, s: SettingsState) -> Light:
        """What is lit stays."""
        return AsBelow()

    def view(self, s: SettingsState) -> FormView:
        """The settings by group, and what the one in hand does."""
        entries, group = [], ""
        for setting in SETTINGS:
            if setting.group != group:
                group = setting.group
                entries.append(FormEntry(None, group))
            entries.append(FormEntry(setting.name, setting.label, setting.words(s.values[setting.name])))
        return FormView(
            "Settings",
            tuple(entries),
            board=s.board.words,
            at=s.at,
            text=_side(s),
            prompt=f"{s.setting.label}:",
            typed=s.typed,
            hint=f"{s.setting.least} to {s.setting.most} {s.setting.unit}",
            message=s.message,
            unsaved=s.unsaved,
            choose=lambda key: PickSetting(str(key)),
            panes=tuple(_panes(s)),
        )


def _side(s: SettingsState) -> tuple[Line, ...]:
    setting, value = s.setting, s.values[s.at]
    lines = [Line(setting.label, "bold"), Line(setting.does, wrap=True), Line("")]
    for choice in setting.choices:
        here = choice.value == value
        lines.append(Line(f"{'▸' if here else ' '} {choice.words}: {choice.does}", "bold" if here else "", wrap=True))
    if not setting.choices:
        lines.append(Line(f"Now {setting.words(value)}; {setting.least} to {setting.most} {setting.unit}."))
    lines += [
        Line(""),
        Line(f"Usual: {setting.words(setting.usual)}. A change holds at once and is remembered.", "dim", wrap=True),
    ]
    keys, file = s.values.get("keys"), s.values.get("file", "")
    if keys:
        lines += [Line(""), Line(f"{keys} changed by the list “keys” in {file}", "dim", wrap=True)]
    return tuple(lines)


def _panes(s: SettingsState) -> Iterator[Pane]:
    """What each setting does, and which of them are not as usual."""
    others = [setting for setting in SETTINGS if setting.name != s.at]
    lines = [line for setting in others for line in (Line(setting.label, "bold"), Line(f"  {setting.does}", wrap=True))]
    yield Pane("The others", tuple(lines))
    changed = [setting for setting in SETTINGS if s.values[setting.name] != setting.usual]
    yield Pane(
        "Not as usual",
        tuple(Line(f"{c.label}: {c.words(s.values[c.name])}, usually {c.words(c.usual)}", wrap=True) for c in changed)
        or (Line("Every setting is as usual."),),
    )


def make(opened: Opened) -> tuple[SettingsTask, SettingsState]:
    """The settings as they are now; `opened.settings` holds them by name. A map is not needed."""
    values = {setting.name: setting.usual for setting in SETTINGS} | dict(opened.settings)
    return SettingsTask(), SettingsState(map=opened.map or new_map("No map"), values=values)
