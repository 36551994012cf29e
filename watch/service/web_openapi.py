"""The description of the page's interface for programs (OpenAPI 3.1), served by it and fuzzed from."""

from typing import Any

from watch.render.as_json import schema

VERSION = "1"  # of this interface; grows when something is taken away or means something else
ERROR = {"type": "object", "properties": {"error": {"type": "string"}}, "required": ["error"]}
NULL_TIME = {"type": ["string", "null"], "format": "date-time"}
ALERT = {
    "type": "object",
    "properties": {
        "name": {"type": "string"}, "revision": {"type": "integer"},
        "priority": {"enum": ["caution", "warning", "alarm", "emergency alarm"]}, "state": {"type": "string"},
        "awaits": {"type": "boolean"}, "title": {"type": "string"}, "text": {"type": "string"}, "why": {"type": "string"},
        "clears": {"type": "string"}, "due": NULL_TIME,
    },
}  # fmt: skip
PART = {"type": "object", "properties": {"name": {"type": "string"}, "well": {"type": "boolean"}, "words": {"type": "string"}}}
HEALTH = {
    "type": "object",
    "properties": {
        "well": {"type": "boolean"}, "orders_made_at": NULL_TIME, "checked_at": {"type": "string", "format": "date-time"},
        "next_at": NULL_TIME, "parts": {"type": "array", "items": PART},
    },
    "required": ["well", "orders_made_at", "checked_at", "next_at", "parts"],
}  # fmt: skip
MARK = {
    "type": "object",
    "properties": {
        "mark": {"type": "string"}, "now": {"type": "string", "format": "date-time"}, "checked_at": NULL_TIME, "next_at": NULL_TIME,
    },
    "required": ["mark", "now"],
}
ACK = {
    "type": "object",
    "properties": {
        "alert": {"type": "string", "minLength": 1, "maxLength": 200},
        "revision": {"type": "integer", "minimum": 0, "maximum": 999_999_999},
    },
    "required": ["alert", "revision"],
    "additionalProperties": False,
}
SIGN_IN = {
    "type": "object",
    "properties": {"passphrase": {"type": "string", "maxLength": 200}, "name": {"type": "string", "maxLength": 200}},
    "required": ["passphrase"],
    "additionalProperties": False,
}


def description() -> dict[str, Any]:
    """The whole description as plain values."""
    orders = {k: v for k, v in schema().items() if k != "$schema"}
    definitions = orders.pop("$defs", {})
    orders = _moved(orders)
    return {
        "openapi": "3.1.0",
        "info": {"title": "Night orders", "version": VERSION, "description": "The orders, the alerts, and acknowledging them."},
        "paths": {
            "/": {"get": _op("The page", {"200": _body("text/html", {"type": "string"}), "401": _body("text/html", {"type": "string"})})},
            "/orders.json": {"get": _op("The orders", {"200": _json(orders), "503": _json(ERROR)}, reads=True)},
            "/alerts.json": {"get": _op("The alerts", {"200": _json({"type": "array", "items": ALERT})}, reads=True)},
            "/health": {"get": _op("How the watch itself is", {"200": _json(HEALTH), "503": _json(HEALTH)}, reads=True)},
            "/mark": {"get": _op("Changes when the page does", {"200": _json(MARK)}, reads=True)},
            "/openapi.json": {"get": _op("This description", {"200": _json({"type": "object"})})},
            "/ack": {"post": _form("Acknowledge an alert", ACK, {"200": _json({"type": "object"}), "303": _empty(), "409": _json(ERROR)})},
            "/sign-in": {"post": _form("Begin a session", SIGN_IN, {"303": _empty(), "401": _body("text/html", {"type": "string"})})},
            "/sign-out": {"post": _op("End the session", {"303": _empty(), "403": _json(ERROR)})},
        },
        "components": {"schemas": {k: _moved(v) for k, v in definitions.items()}},
    }


def _moved(node: Any) -> Any:
    """References to '$defs' -> to the components of the description; pairs without the type of each, which some readers cannot take."""
    if isinstance(node, dict):
        if "prefixItems" in node:
            return {"items": {"anyOf": [_moved(v) for v in node["prefixItems"]]}, **{k: v for k, v in node.items() if k != "prefixItems"}}
        return {k: v.replace("#/$defs/", "#/components/schemas/") if k == "$ref" else _moved(v) for k, v in node.items()}
    return [_moved(v) for v in node] if isinstance(node, list) else node


def _op(summary: str, responses: dict[str, Any], *, reads: bool = False) -> dict[str, Any]:
    more = {"401": _json(ERROR)} if reads else {}
    return {"summary": summary, "responses": {**responses, **more, "400": _json(ERROR), "429": _json(ERROR)}}


def _form(summary: str, body: dict[str, Any], responses: dict[str, Any]) -> dict[str, Any]:
    more = {code: _json(ERROR) for code in ("401", "403", "413", "415") if code not in responses}
    made = _op(summary, {**responses, **more})
    return {**made, "requestBody": {"required": True, "content": {"application/x-www-form-urlencoded": {"schema": body}}}}


def _json(body: dict[str, Any]) -> dict[str, Any]:
    return _body("application/json", body)


def _body(kind: str, body: dict[str, Any]) -> dict[str, Any]:
    return {"description": body.get("title", kind), "content": {kind: {"schema": body}}}


def _empty() -> dict[str, Any]:
    return {"description": "done; go on at the page"}
