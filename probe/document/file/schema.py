"""The published JSON Schemas of what storage writes: `python -m probe.document.file.schema` writes them anew."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from probe.document.model import FORMAT_VERSION, PlayfieldMap

DIALECT = "https://json-schema.org/draft/2020-12/schema"
MAP_SCHEMA = Path(__file__).with_name("map.schema.json")


def map_schema() -> dict[str, Any]:
    """JSON Schema, draft 2020-12, of the map file. What it cannot say: ids are unique and references lead somewhere."""
    schema = PlayfieldMap.model_json_schema(mode="validation")
    schema["required"] = ["format", "version", *schema.get("required", ())]
    head = {"$schema": DIALECT, "$id": f"urn:playfield-probe:map:{FORMAT_VERSION}"}
    return head | schema


def schema_text(schema: dict[str, Any]) -> str:
    """A schema as it stands in its file."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    MAP_SCHEMA.write_text(schema_text(map_schema()), encoding="utf-8", newline="\n")
