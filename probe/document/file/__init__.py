"""The map file and settings on disk."""

from probe.document.file.atomic import previous_name
from probe.document.file.demo import demo_map_path
from probe.document.file.disk import Disk
from probe.document.file.errors import (
    CannotReadError,
    CannotSaveError,
    ChangedElsewhereError,
    DamagedFileError,
    FileInUseError,
    NewerFileError,
    StorageError,
    UnsoundMapError,
)
from probe.document.file.map_file import MapFile, load_map, save_copy
from probe.document.settings import RememberedPort, Settings, change_settings, load_settings, settings_path

__all__ = [
    "CannotReadError",
    "CannotSaveError",
    "ChangedElsewhereError",
    "DamagedFileError",
    "Disk",
    "FileInUseError",
    "MapFile",
    "NewerFileError",
    "RememberedPort",
    "Settings",
    "StorageError",
    "UnsoundMapError",
    "change_settings",
    "demo_map_path",
    "load_map",
    "load_settings",
    "previous_name",
    "save_copy",
    "settings_path",
]
