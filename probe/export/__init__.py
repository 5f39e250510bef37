"""Writing maps to other formats and reading them back."""

from collections.abc import Callable, Mapping

from probe.document.model import PlayfieldMap
from probe.export.csv_map import read_csv, write_csv
from probe.export.errors import ImportProblem
from probe.export.json_map import write_json, write_shared
from probe.export.lamp_list import read_lamp_list, write_lamp_list
from probe.export.source_code import write_c_header, write_python_module
from probe.export.tables import write_by_lamp, write_by_pixel, write_by_place, write_cuts, write_parts, write_seats

WRITERS: Mapping[str, Callable[[PlayfieldMap], str]] = {
    "csv": write_csv,
    "json": write_json,
    "lamps-csv": write_by_lamp,
    "pixels-csv": write_by_pixel,
    "places-csv": write_by_place,
    "cuts-csv": write_cuts,
    "parts-csv": write_parts,
    "seats-csv": write_seats,
    "shared-map": write_shared,
    "c-header": write_c_header,
    "python": write_python_module,
}
"""Each format a map can be written in, by the name the command knows it by."""

__all__ = ["WRITERS", "ImportProblem", "read_csv", "read_lamp_list", "write_csv", "write_json", "write_lamp_list"]
