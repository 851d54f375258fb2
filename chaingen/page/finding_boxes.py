"""The findings of a design as the page's boxes show them: every key of each, with what it means.

Types and limits come from the tables that read a design (`chaingen.design.finding_schema`).
"""

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from chaingen.design.finding_keys import SIZES, WIRES, Size, SizeOrNone, Wire
from chaingen.design.finding_schema import TABLES
from chaingen.page.boxes import At, Data, size_box, wire_box
from chaingen.tables import list_of, table_of

MOST_ROWS = 60
"""Most entries of a list in a finding that have boxes."""

_WIRE, _SIZE, _SIZE_OR_NONE = (get_args(one)[1] for one in (Wire, Size, SizeOrNone))


def finding_boxes(findings: Mapping[str, Any], metal_names: list[str]) -> list[Data]:
    """All findings, also those with something wrong in them.

    Args:
        findings: The table ``findings`` of a design as it is written.
        metal_names: Metals to choose from.
    """
    found = []
    for name, entry in findings.items():
        table = table_of(entry)
        kind = table.get("kind")
        model = TABLES.get(kind) if isinstance(kind, str) else None
        keys = [] if model is None else list(_rows(model, table, ["findings", name], metal_names))
        found.append({"name": name, "kind": kind if isinstance(kind, str) else None, "keys": keys})
    return found


@cache
def _schema(model: type[BaseModel]) -> Data:
    return model.model_json_schema()


def _rows(
    model: type[BaseModel], table: Mapping[str, Any], at: At, metal_names: list[str], before: str = ""
) -> Iterator[Data]:
    """The keys of a table, with those of tables in its lists after their number."""
    for name, field in model.model_fields.items():
        if name == "kind":
            continue
        inner = _table_in(field)
        if inner is not None:
            for number, entry in enumerate(list_of(table.get(name), MOST_ROWS)):
                label = f"{before}{name.removesuffix('s')} {number + 1}, "
                yield from _rows(inner, table_of(entry), [*at, name, number], metal_names, label)
            continue
        yield _row(model, name, field, table, [*at, name], metal_names, before)


def _table_in(field: FieldInfo) -> type[BaseModel] | None:
    """The table that a list is of; None for what is no list of tables."""
    for part in get_args(field.annotation):
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
    return None


def _row(
    model: type[BaseModel],
    name: str,
    field: FieldInfo,
    table: Mapping[str, Any],
    at: At,
    metal_names: list[str],
    before: str,
) -> Data:
    """A key with its value, which is its usual one where it is not written."""
    schema = _schema(model)["properties"][name]
    said = next((one for one in schema.get("anyOf", ()) if one.get("type") != "null"), schema)
    value = table.get(name, schema.get("default"))
    row: Data = {
        "at": at,
        "key": before + name.replace("_", " "),
        "value": value if isinstance(value, str | int | float | bool | None) else str(value),
        "given": name in table,
        "about": field.description or "",
    }
    marks = _marks(field)
    if name == "metal":
        return {**row, "type": "choice", "choices": metal_names}
    if _WIRE in marks:
        return {**row, "type": "wire", "box": wire_box(at, value, WIRES)}
    if _SIZE in marks or _SIZE_OR_NONE in marks:
        limits = SIZES if _SIZE in marks else (0.0, SIZES[1])
        return {**row, "type": "length", "box": size_box(at, value, limits)}
    choices = [word for one in (said, *schema.get("anyOf", ())) for word in one.get("enum", ())]
    if choices and "pattern" not in said:
        return {**row, "type": "choice", "choices": list(dict.fromkeys(choices))}
    if said.get("type") == "boolean":
        return {**row, "type": "flag"}
    if said.get("type") in ("integer", "number"):
        whole = said["type"] == "integer"
        return {
            **row, "type": "number", "whole": whole, "low": said.get("minimum"), "high": said.get("maximum"),
        }  # fmt: skip
    return {**row, "type": "text", **({"choices": choices} if choices else {})}


def _marks(field: FieldInfo) -> list[Any]:
    """What a field's type is annotated with, in its alternatives too."""
    return [*field.metadata, *(mark for part in get_args(field.annotation) for mark in get_args(part)[1:])]
