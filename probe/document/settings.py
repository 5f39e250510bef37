"""What the program remembers between runs, in one small JSON file of the user's own."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Literal

from platformdirs import user_config_path
from pydantic import BaseModel, ConfigDict, Field

from probe.document.file.atomic import replace_file
from probe.document.file.disk import Disk
from probe.document.file.errors import CannotReadError, UnsoundMapError
from probe.document.file.lock import ExclusiveLock
from probe.document.file.map_file import saving_error
from probe.document.file.reading import decode, parse_json, read_bytes, validated

PROGRAM = "playfield-probe"
RENAMED_COMMANDS: Mapping[str, str] = {
    "walk.table": "app.table",
    "walk.power": "app.power",
    "walk.harness": "app.harness",
    "walk.faults": "app.faults",
    "walk.recheck": "app.recheck",
    "walk.find": "app.find",
    "walk.tour": "app.tour",
    "walk.end_tour": "app.end_tour",
    "walk.picture": "app.picture",
    "walk.lamps": "app.lamps",
    "table.revisions": "app.revisions",
    "power.harness": "app.harness",
    "harness.power": "app.power",
    "lamps.board": "app.board",
    "lamps.watch": "app.watch",
    "lamps.prove": "app.prove",
    "board.watch": "app.watch",
    "board.prove": "app.prove",
    "prove.board": "app.board",
    "picture.evenness": "app.evenness",
    "evenness.rate.FAIR": "evenness.take",
    "joint.read.1": "joint.read",
    "joint.read.-1": "joint.read",
}
"""Names that commands had in earlier settings files, and the ones they have now."""
MAX_RECENT = 10
Theme = Literal["dark-shop", "high-contrast", "light-room"]
Signs = Literal["fine", "blocks", "ascii"]
"""What pictures are drawn with: braille dots, block signs, or ASCII only."""
_LOCK_WAIT_S = 2.0


class RememberedPort(BaseModel):
    """The board a map was last used with: by the serial number of its USB plug, or by a URL."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    usb_serial: str | None = Field(default=None, max_length=200)
    address: str = Field(default="", max_length=1_000)


class SeenTable(BaseModel):
    """The table that a map's board was last seen to hold: its checksum, and when that was (RFC 3339 UTC)."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    crc: int = Field(ge=0, le=0xFFFF)
    time: str = Field(default="", max_length=40)


class Settings(BaseModel):
    """The user's settings. Paths are absolute; keys are names of commands, values names of keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    recent: tuple[str, ...] = Field(default=(), max_length=MAX_RECENT, description="map files, last used first")
    ports: dict[str, RememberedPort] = Field(default={}, description="the board of each map file")
    tables: dict[str, SeenTable] = Field(default={}, description="what the board of each map was last seen to hold")
    keys: dict[str, str] = Field(default={}, description="keys beside the usual ones, by command")
    bell: bool = Field(default=True, description="a bell when something changed")
    steady_only: bool = Field(default=False, description="nothing flashes")
    theme: Theme = Field(default="dark-shop", description="colours of the screen: dark-shop, high-contrast, light-room")
    signs: Signs | None = Field(default=None, description="fine, blocks, ascii; asked where it is not set")
    brightness_percent: int = Field(default=25, ge=1, le=100, description="of the lit pixel")

    def with_map(self, path: str | os.PathLike[str]) -> Settings:
        """With that map as the last used."""
        name = _absolute(path)
        recent = (name, *(other for other in self.recent if other != name))[:MAX_RECENT]
        return self.model_copy(update={"recent": recent})

    def with_port(self, path: str | os.PathLike[str], port: RememberedPort) -> Settings:
        """With the board of a map remembered."""
        return self.model_copy(update={"ports": {**self.ports, _absolute(path): port}})

    def with_table(self, path: str | os.PathLike[str], table: SeenTable) -> Settings:
        """With what the board of a map holds remembered."""
        return self.model_copy(update={"tables": {**self.tables, _absolute(path): table}})

    def table_for(self, path: str | os.PathLike[str]) -> SeenTable | None:
        """What the board of a map was last seen to hold, or None."""
        return self.tables.get(_absolute(path))

    def port_for(self, path: str | os.PathLike[str]) -> RememberedPort | None:
        """The board a map was last used with, or None."""
        return self.ports.get(_absolute(path))


def level_of(percent: int) -> int:
    """The level, 1 to 255, of a brightness in percent."""
    return max(1, round(255 * percent / 100))


def _absolute(path: str | os.PathLike[str]) -> str:
    return os.path.realpath(path)


def usable_keys(
    keys: Mapping[str, str], known: Collection[str], renamed: Mapping[str, str] = RENAMED_COMMANDS
) -> tuple[dict[str, str], tuple[str, ...]]:
    """The settings' keys by the names that commands have now, and a sentence for each name that no command has or had.

    `known`: every command's name. A key under an old name gives way to one under the new name.
    """
    import difflib

    usable: dict[str, str] = {}
    sentences: list[str] = []
    for name, key in keys.items():
        now = name if name in known else renamed.get(name, name)
        if now not in known:
            near = difflib.get_close_matches(name, known, n=1)
            guess = f" (is {near[0]!r} meant?)" if near else ""
            sentences.append(
                f"keys: no command is called {name!r}{guess}. Its line does nothing: mend it, or take it out"
            )
        elif now == name or now not in keys:
            usable[now] = key
    return usable, tuple(sentences)


def settings_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the settings are: PLAYFIELD_PROBE_SETTINGS if set, else the system's place for such files."""
    named = environment.get("PLAYFIELD_PROBE_SETTINGS")
    return Path(named) if named else user_config_path(PROGRAM, appauthor=False) / "settings.json"


def load_settings(path: Path | None = None, *, disk: Disk | None = None) -> Settings:
    """The settings; the usual ones if there is no file. Raises CannotReadError, DamagedFileError; changes nothing."""
    disk = disk or Disk()
    where = path or settings_path()
    try:
        if disk.facts(where) is None:
            return Settings()
    except OSError as error:
        raise CannotReadError(where, f"the system says: {error.strerror or error}", "Check its permissions") from error
    hint = "Mend that line, or remove the file to have the usual settings"
    text = decode(where, read_bytes(disk, where), hint)
    settings = validated(where, Settings, text, hint)
    parse_json(where, text, hint)
    return settings


def settings_text(settings: Settings) -> str:
    """The file's content: only what differs from the usual, one setting per line, lists and tables indented."""
    changed = settings.model_dump(mode="json", exclude_defaults=True)
    return json.dumps(changed, indent=2, ensure_ascii=True, allow_nan=False) + "\n"


def change_settings(
    change: Callable[[Settings], Settings], path: Path | None = None, *, disk: Disk | None = None
) -> Settings:
    """Read, change and write the settings as one step, so that two programs do not undo each other's change.

    Returns the new settings. Raises StorageError; the file is then as it was.
    """
    disk = disk or Disk()
    where = Path(os.path.realpath(path or settings_path()))
    try:
        disk.make_folder(where.parent)
    except OSError as error:
        raise saving_error(where, error) from error
    lock = ExclusiveLock(where, wait_s=_LOCK_WAIT_S)
    try:
        old = load_settings(where, disk=disk)
        new = change(old)
        try:
            Settings.model_validate_json(settings_text(new), strict=True)
        except ValueError as error:
            raise UnsoundMapError(where, f"these settings are not valid: {error}", "Nothing was saved") from error
        if new != old:
            try:
                replace_file(disk, where, settings_text(new).encode(), keep_previous=False)
            except OSError as error:
                raise saving_error(where, error) from error
        return new
    finally:
        lock.release()
