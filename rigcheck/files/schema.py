"""The rig file's form as JSON Schema, so that an editor can complete and check it."""

from __future__ import annotations

from typing import Any

from rigcheck.model import FORMAT, Shot
from rigcheck.model.fields import SHARED

__all__ = ["schema"]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of the rig file.

    Returns
    -------
    dict
        Made from the models that read the file, with the names of the stock as examples. It knows keys,
        words, counts, how quantities are written, and which keys stand together; what one value makes of
        another, such as a wall thicker than its tube, only reading the file tells.
    """
    from rigcheck import stock

    made: dict[str, Any] = Shot.model_json_schema(by_alias=True)
    shared: dict[str, Any] = {}
    tidy: dict[str, Any] = _tidy(made, shared)
    definitions = tidy.setdefault("$defs", {})
    materials, sheets, clamps = (list(stock.names(kind)) for kind in ("material", "sheet", "clamp"))
    for table, key, names in (
        ("Support", "material", materials),
        ("Sleeve", "material", materials),
        ("Insert", "material", sheets),
        ("Support", "clamp", clamps),
    ):
        # Examples and no enum: a shot may have materials of its own.
        definitions[table]["properties"][key]["examples"] = names
    definitions.update(shared)
    head = {
        "$schema": _DIALECT,
        "title": f"rigcheck rig file, format {FORMAT}",
        "description": "What a shot is: its props, what carries them, how they move, what is asked.",
    }
    return head | {key: value for key, value in tidy.items() if key not in head}


def _tidy(node: Any, shared: dict[str, Any]) -> Any:
    """Leave out what TOML has no word for, and keep each kind of quantity in one place."""
    if isinstance(node, list):
        return [_tidy(entry, shared) for entry in node]
    if not isinstance(node, dict):
        return node
    node = _without_null(node)
    if SHARED in node:
        name = node[SHARED].replace(" ", "-")
        examples = node.get("examples", [])
        shared.setdefault(name, {key: node[key] for key in ("type", "pattern", "maxLength")})
        rest = {key: node[key] for key in ("description",) if key in node}
        return {"$ref": f"#/$defs/{name}", **rest, "examples": examples}
    return {
        key: _tidy(value, shared)
        for key, value in node.items()
        # pydantic's titles only say the key again, and its descriptions of tables are our docstrings.
        if not (key == "title" and isinstance(value, str))
        and not (key == "description" and node.get("type") == "object")
    }


def _without_null(node: dict[str, Any]) -> dict[str, Any]:
    """Turn ``X or null, null where not given`` into ``X``: TOML leaves a key out instead."""
    choices = node.get("anyOf")
    if not isinstance(choices, list) or {"type": "null"} not in choices:
        return node
    others = [choice for choice in choices if choice != {"type": "null"}]
    rest = {
        key: value
        for key, value in node.items()
        if key != "anyOf" and not (key == "default" and value is None)
    }
    return {**others[0], **rest} if len(others) == 1 else {**rest, "anyOf": others}
