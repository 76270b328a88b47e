"""The JSON Schema of a sketch (draft 2020-12), made of the same declarations that check it."""

from __future__ import annotations

from typing import Any

from chainsim.block import block_type, block_type_names
from chainsim.settings import Settings
from chainsim.sketch.model import Common, Header
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.drives import CURVES

_OURS = ("unit", "movable", "law", "ramp_ms", "may_be_off", "title")
"""What the declarations carry beside JSON Schema's own words."""


def sketch_schema() -> dict[str, Any]:
    """Schema of a whole sketch file."""
    header = _properties(Header)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "chainsim sketch",
        "type": "object",
        "required": ["chain"],
        "additionalProperties": False,
        "properties": {
            **header,
            "chain": {"$ref": "#/$defs/chain"},
            "blocks": {
                "type": "object",
                "properties": {name: _block(name, named=True) for name in block_type_names()},
                "additionalProperties": {"$ref": "#/$defs/block"},
            },
            "patches": {"type": "object", "additionalProperties": {"$ref": "#/$defs/patch"}},
            "cues": {"type": "array", "items": {"$ref": "#/$defs/cue"}},
            "controllers": {"type": "object", "additionalProperties": {"$ref": "#/$defs/controller"}},
        },
        "$defs": {
            **_chain_parts(),
            "block": {"oneOf": [_block(name) for name in block_type_names()]},
            "patch": {
                "type": "object",
                "additionalProperties": False,
                "properties": {
                    "chain": {"$ref": "#/$defs/chain"},
                    "engage": {"type": "array", "items": {"type": "string"}},
                    "tempo_bpm": header["tempo_bpm"],
                    "key": header["key"],
                    "blocks": {"type": "object", "additionalProperties": {"type": "object"}},
                },
            },
            "cue": {
                "type": "object",
                "required": ["at_s", "patch"],
                "additionalProperties": False,
                "properties": {"at_s": {"type": "number", "minimum": 0}, "patch": {"type": "string"}},
            },
            "controller": {"oneOf": [_controller(name) for name in CONTROLLER_TYPES]},
        },
    }


def _chain_parts() -> dict[str, Any]:
    level = {"anyOf": [{"type": "number", "minimum": -96, "maximum": 24}, {"const": "off"}]}
    lane = {
        "type": "object",
        "required": ["chain"],
        "additionalProperties": False,
        "properties": {
            "chain": {"anyOf": [{"$ref": "#/$defs/chain"}, {"const": "dry"}]},
            "level_db": level,
            "pan": {"type": "number", "minimum": -1, "maximum": 1},
        },
    }
    lanes = {
        "type": "object",
        "required": ["lanes"],
        "additionalProperties": False,
        "properties": {
            "lanes": {
                "type": "array",
                "minItems": 1,
                "items": {"anyOf": [{"type": "string"}, {"$ref": "#/$defs/chain"}, {"$ref": "#/$defs/lane"}]},
            },
            "align": {"type": "boolean", "description": "delay the earlier lanes to the latest"},
        },
    }
    blender = {
        "type": "object",
        "required": ["blender", "wet"],
        "additionalProperties": False,
        "properties": {"blender": {"type": "string"}, "wet": {"$ref": "#/$defs/chain"}},
    }
    step = {"anyOf": [{"type": "string"}, lanes, blender]}
    return {"chain": {"type": "array", "items": step}, "lane": lane}


def _block(type_name: str, *, named: bool = False) -> dict[str, Any]:
    """Schema of a block; one that has its type's name need not give it again, or may be of another type."""
    cls = block_type(type_name)
    properties = {"type": {"const": type_name}, **_properties(cls.settings_type), **_properties(Common)}
    if named:
        own = {"type": "object", "additionalProperties": False, "properties": properties}
        return {"anyOf": [own, {"$ref": "#/$defs/block"}]}
    return {
        "title": type_name,
        "description": (cls.__doc__ or "").strip().splitlines()[0],
        "type": "object",
        "required": ["type"],
        "additionalProperties": False,
        "properties": properties,
    }


def _controller(type_name: str) -> dict[str, Any]:
    drive = {
        "type": "object",
        "required": ["setting"],
        "additionalProperties": False,
        "properties": {
            "setting": {"type": "string"},
            "low": {"anyOf": [{"type": "number"}, {"const": "off"}]},
            "high": {"anyOf": [{"type": "number"}, {"const": "off"}]},
            "curve": {"enum": list(CURVES)},
        },
    }
    return {
        "title": type_name,
        "type": "object",
        "required": ["type"],
        "additionalProperties": False,
        "properties": {
            "type": {"const": type_name},
            **_properties(CONTROLLER_TYPES[type_name].settings_type),
            "listens_to": {"type": "string"},
            "drives": {"type": "array", "items": drive},
        },
    }


def _properties(settings: type[Settings]) -> dict[str, Any]:
    """Schemas of the single settings, with references resolved in place and units in the descriptions."""
    whole = settings.model_json_schema()
    definitions = whole.get("$defs", {})
    properties = {}
    for name, spec in settings.specs().items():
        schema = dict(_resolved(whole["properties"][name], definitions))
        if spec.unit != "1":
            schema["description"] = f"{spec.text} ({spec.range_text()})"
        if spec.may_be_off:
            about = {k: schema.pop(k) for k in ("description", "default") if k in schema}
            schema = {"anyOf": [schema, {"const": "off"}], **about}
        properties[name] = schema
    return properties


def _resolved(value: Any, definitions: dict[str, Any]) -> Any:
    if isinstance(value, dict):
        if "$ref" in value:
            return _resolved(definitions[value["$ref"].rsplit("/", 1)[-1]], definitions)
        named = "properties" in value
        kept = {k: v for k, v in value.items() if named or k not in _OURS}
        return {k: _resolved(v, definitions) for k, v in kept.items()}
    return [_resolved(v, definitions) for v in value] if isinstance(value, list) else value
