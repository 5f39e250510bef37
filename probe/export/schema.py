"""The published JSON Schema of the JSON export: `python -m probe.export.schema` writes it anew."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from probe.export.json_map import EXPORT_VERSION, ExportedMap

EXPORT_SCHEMA = Path(__file__).with_name("export.schema.json")


def export_schema() -> dict[str, Any]:
    """JSON Schema, draft 2020-12, of what `write_json` writes."""
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:playfield-probe:export:{EXPORT_VERSION}",
    }
    return head | ExportedMap.model_json_schema(mode="validation")


def schema_text() -> str:
    """The schema as it stands in its file."""
    return json.dumps(export_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    EXPORT_SCHEMA.write_text(schema_text(), encoding="utf-8", newline="\n")
