"""datapackage.json: the folder described in the open standard of Frictionless Data.

Sources: Data Package and Table Schema specifications, version 2 (datapackage.org).
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from kit.series.settings import Settings
from kit.series.tables import Column, Table

FILE = "datapackage.json"
_TYPES = {"text": "string", "whole": "integer", "number": "number"}


def format_datapackage(
    name: str, settings: Settings, tables: Mapping[str, Table], frames: Mapping[str, pd.DataFrame]
) -> bytes:
    """Describe the tables of a series, columns that were added by hand included."""
    package = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": name,
        "title": settings.title,
        "description": settings.question,
        "resources": [_resource(table, frames[table.name]) for table in tables.values()],
    }
    return _as_bytes(package)


def with_journals(content: bytes, names: Iterable[str]) -> bytes:
    """Describe the journal files too, in the bytes of a datapackage.json."""
    package = json.loads(content)
    package["resources"] = [r for r in package["resources"] if r["name"] not in _journals(names)]
    package["resources"] += [
        {
            "name": name,
            "path": file,
            "format": "log",
            "mediatype": "application/jsonl",
            "encoding": "utf-8",
            "description": "What was changed, when, by whom and from which file: one event a "
            "line, each with the hash of the line before it.",
        }
        for name, file in _journals(names).items()
    ]
    return _as_bytes(package)


def _journals(names: Iterable[str]) -> dict[str, str]:
    """Name of the resource to name of the file."""
    return {file.removesuffix(".log"): file for file in sorted(names)}


def _as_bytes(package: Mapping[str, Any]) -> bytes:
    return (json.dumps(package, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def _resource(table: Table, frame: pd.DataFrame) -> dict[str, Any]:
    known = {column.name: column for column in table.columns}
    by_hand = [name for name in frame.columns if name not in known]
    fields = [_field(known[n]) for n in frame.columns if n in known]
    fields += [{"name": n, "type": "string", "description": "Added by hand."} for n in by_hand]
    schema: dict[str, Any] = {"fields": fields, "missingValues": [""]}
    schema["primaryKey"] = list(table.key)
    if table.refers:
        schema["foreignKeys"] = [
            {
                "fields": [column],
                "reference": {
                    "resource": "" if other == table.name else other,
                    "fields": [other_column],
                },
            }
            for column, (other, other_column) in table.refers.items()
        ]
    return {
        "name": table.name,
        "path": table.file,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _field(column: Column) -> dict[str, Any]:
    field: dict[str, Any] = {
        "name": column.name,
        "type": _TYPES[column.kind],
        "description": column.meaning,
    }
    if column.unit:
        field["unit"] = column.unit
    constraints: dict[str, Any] = {}
    if column.required:
        constraints["required"] = True
    if column.allowed:
        constraints["enum"] = list(column.allowed)
    if column.minimum is not None:
        constraints["minimum"] = column.minimum
    if column.maximum is not None:
        constraints["maximum"] = column.maximum
    if constraints:
        field["constraints"] = constraints
    return field
