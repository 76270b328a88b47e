"""The JSON Schema of a sketch (draft 2020-12), made of the same declarations that check it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chainsim.block import block_type, block_type_names
from chainsim.settings import Settings
from chainsim.sketch.cues import WHAT, CueSettings, TapSettings
from chainsim.sketch.general_settings import Common, Header
from chainsim.sketch.house import HouseBandSettings, HouseSettings, SeatSettings
from chainsim.sketch.levels import LevelSettings
from chainsim.sketch.ordering import OrderSettings
from chainsim.sketch.patches import PatchSettings
from chainsim.sketch.reading_levels import LEVEL_PARTS
from chainsim.sketch.rooms import RoomSettings
from chainsim.sketch.switches import BankSettings, SwitchSettings
from chainsim.stage.controllers import CONTROLLER_TYPES
from chainsim.stage.drives import CURVES
from chainsim.stage.foot import Foot

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
            "banks": {"type": "array", "items": _table(BankSettings, required=["patches"])},
            "switches": {"type": "array", "items": _table(SwitchSettings, required=["press"])},
            "foot": _table(Foot),
            "cues": {"type": "array", "items": _cue()},
            "taps": {"type": "array", "items": _table(TapSettings, required=["at_s"])},
            "controllers": {"type": "object", "additionalProperties": {"$ref": "#/$defs/controller"}},
            "rooms": {"type": "object", "additionalProperties": {"$ref": "#/$defs/room"}},
            "marks": {"type": "object", "additionalProperties": {"type": "object", "additionalProperties": _MARKS}},
            "house": {"$ref": "#/$defs/house"},
            "levels": _table(LevelSettings, required=(), **{name: _table(kind) for name, kind in LEVEL_PARTS.items()}),
            "orders": _table(OrderSettings),
        },
        "$defs": {
            **_chain_parts(),
            "block": {"oneOf": [_block(name) for name in block_type_names()]},
            "patch": _table(
                PatchSettings,
                chain={"$ref": "#/$defs/chain"},
                engage={"type": "array", "items": {"type": "string"}},
                blocks=_CHANGES,
                controllers={
                    "type": "object",
                    "additionalProperties": {
                        "type": "object",
                        "required": ["drives"],
                        "additionalProperties": False,
                        "properties": {"drives": _DRIVES},
                    },
                },
            ),
            "room": _table(RoomSettings, blocks=_CHANGES, house={"$ref": "#/$defs/house"}),
            "house": _table(
                HouseSettings,
                seats={"type": "object", "additionalProperties": _table(SeatSettings)},
                band=_table(HouseBandSettings),
            ),
            "controller": {"oneOf": [_controller(name) for name in CONTROLLER_TYPES]},
        },
    }


_CHANGES: dict[str, Any] = {"type": "object", "additionalProperties": {"type": "object"}}
_DRIVES: dict[str, Any] = {
    "type": "array",
    "items": {
        "type": "object",
        "required": ["setting"],
        "additionalProperties": False,
        "properties": {
            "setting": {"type": "string"},
            "low": {"anyOf": [{"type": "number"}, {"const": "off"}]},
            "high": {"anyOf": [{"type": "number"}, {"const": "off"}]},
            "curve": {"enum": list(CURVES)},
        },
    },
}
_MARK = {"type": ["number", "string"]}
_PAIR = {"type": "array", "prefixItems": [_MARK, _MARK], "items": False, "minItems": 2}
_MARKS: dict[str, Any] = {
    "type": "object",
    "required": ["knob", "at"],
    "additionalProperties": False,
    "properties": {
        "knob": {"type": "string"},
        "at": {"type": "array", "minItems": 1, "items": _PAIR},
    },
}


def _table(settings: type[Settings], *, required: Sequence[str] = (), **more: dict[str, Any]) -> dict[str, Any]:
    """Schema of a table that holds some settings and perhaps other parts."""
    properties = {**more, **_properties(settings)}
    return {"type": "object", "required": [*required], "additionalProperties": False, "properties": properties}


def _cue() -> dict[str, Any]:
    """Schema of a cue: one time, and one thing that happens."""
    when = {"oneOf": [{"required": [key]} for key in ("at_s", "at_bar")]}
    what = {"oneOf": [{"required": [key]} for key in WHAT]}
    return {**_table(CueSettings), "allOf": [when, what]}


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
    return {
        "title": type_name,
        "type": "object",
        "required": ["type"],
        "additionalProperties": False,
        "properties": {
            "type": {"const": type_name},
            **_properties(CONTROLLER_TYPES[type_name].settings_type),
            "listens_to": {"type": "string"},
            "drives": _DRIVES,
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
