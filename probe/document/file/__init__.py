"""The map file on disk. (Settings: `probe.document.settings`.)"""

from probe.document.file.atomic import previous_name
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
from probe.document.file.map_file import MapFile, demo_map_path, load_map, save_copy

__all__ = [
    "CannotReadError",
    "CannotSaveError",
    "ChangedElsewhereError",
    "DamagedFileError",
    "Disk",
    "FileInUseError",
    "MapFile",
    "NewerFileError",
    "StorageError",
    "UnsoundMapError",
    "demo_map_path",
    "load_map",
    "previous_name",
    "save_copy",
]
