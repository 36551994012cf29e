"""The orders as JSON: the same content, units in the names, times in UTC; described by orders.schema.json beside this file."""

import json
import math
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any

from watch.orders.document import Orders
from watch.when import utc

SCHEMA = "nightorders-orders-1"


def as_json(orders: Orders) -> str:
    """Orders -> JSON text, keys in the order of the document."""
    return json.dumps({"schema": SCHEMA, **plain(orders)}, ensure_ascii=False, allow_nan=False)


def plain(value: Any) -> Any:
    """Dataclasses, tuples, times -> dicts, lists, ISO 8601 text; NaN -> null, since a number that is not known is not a number.

    >>> from watch.when import ShipTime
    >>> plain((1.0, float("nan"), ShipTime(-180)))
    [1.0, None, {'offset_minutes': -180}]
    """
    if isinstance(value, datetime):
        return utc(value).strftime("%Y-%m-%dT%H:%M:%SZ")
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of what as_json writes, made from the types of the document; kept in orders.schema.json."""
    from pydantic import TypeAdapter

    made = TypeAdapter(Orders).json_schema(mode="serialization")
    made["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    made["title"] = SCHEMA
    made["properties"] = {"schema": {"const": SCHEMA, "description": "the version of this schema"}, **made["properties"]}
    made["required"] = ["schema", *made["properties"]] if "required" not in made else ["schema", *made["required"]]
    _close(made)
    return made


def _close(node: Any) -> None:
    """Every field is always there, and no other: said of each object in the schema."""
    if isinstance(node, dict):
        if node.get("type") == "object" and "properties" in node:
            node["additionalProperties"] = False
            node["required"] = list(node["properties"])
        for value in node.values():
            _close(value)
    elif isinstance(node, list):
        for value in node:
            _close(value)
