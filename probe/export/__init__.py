"""Writing maps to other formats and reading them back."""

from probe.export.csv_map import read_csv, write_csv
from probe.export.errors import ImportProblem
from probe.export.json_map import write_json
from probe.export.lamp_list import read_lamp_list, write_lamp_list

__all__ = ["ImportProblem", "read_csv", "read_lamp_list", "write_csv", "write_json", "write_lamp_list"]
