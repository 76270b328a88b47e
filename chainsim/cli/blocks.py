"""`chainsim blocks`: what there is, and every setting of one block or controller."""

from __future__ import annotations

import inspect
import math
from typing import TYPE_CHECKING, Any

import click

from chainsim.cli.common import echo_json, table
from chainsim.cli.completing import block_and_controller_names

if TYPE_CHECKING:
    from chainsim.block import Block
    from chainsim.settings import Spec


DRIVES = """What it moves, each setting between its own ends (a curve is linear, log or s):
drives = [{ setting = "BLOCK.SETTING", low = 0, high = 1, curve = "linear" }]"""


@click.command(name="blocks", short_help="List blocks and controllers, or all settings of one.")
@click.argument("name", required=False, shell_complete=block_and_controller_names)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(name: str | None, as_json: bool) -> None:
    """List all blocks and controllers; with NAME, everything that can be set on one.

    \b
    Examples:
      chainsim blocks
      chainsim blocks delay
      chainsim blocks lfo
    """
    from chainsim.block import block_type, block_type_names
    from chainsim.stage.controllers import CONTROLLER_TYPES

    if name is None:
        kinds = [block_type(n) for n in block_type_names()]
        if as_json:
            echo_json([_listed(k) for k in (*kinds, *CONTROLLER_TYPES.values())])
        else:
            click.echo("\n".join(f"{k.type_name:16} {_summary(k)}" for k in kinds))
            click.echo("\nControllers, which move settings:")
            click.echo("\n".join(f"{k.type_name:16} {_summary(k)}" for k in CONTROLLER_TYPES.values()))
            click.echo("\nAll settings of one: chainsim blocks NAME")
        return
    kind = CONTROLLER_TYPES[name] if name in CONTROLLER_TYPES else block_type(name)
    click.echo(_described(kind)) if not as_json else echo_json(_plain(kind))


def _listed(kind: type[Block[Any]]) -> dict[str, str]:
    return {"type": kind.type_name, "kind": "controller" if kind.rows else "block", "what": _summary(kind)}


def _summary(kind: type[Block[Any]]) -> str:
    return (inspect.getdoc(kind) or "").splitlines()[0]


def _described(kind: type[Block[Any]]) -> str:
    from chainsim.sketch.general_settings import Common

    common = {k: s for k, s in Common.specs().items() if k != "listens_to" or kind.has_detector}
    parts = [
        f"{kind.type_name}: {inspect.getdoc(kind) or ''}",
        _settings_table(kind.settings_type.specs().values()),
        *(
            f"Each of {spec.name}:\n{_settings_table(spec.items.specs().values())}"
            for spec in kind.settings_type.specs().values()
            if spec.items is not None
        ),
    ]
    if kind.rows:
        parts.append(DRIVES)
    else:
        parts.append("On every block:\n" + _settings_table(common.values()))
        parts.append("* may be moved by patches, cues and controllers while it sounds")
    if kind.source:
        parts.append(f"Source: {kind.source}")
    return "\n\n".join(parts)


def _settings_table(specs: Any) -> str:
    rows = []
    for spec in specs:
        moves = "*" if spec.movable else ""
        rows.append((spec.name + moves, _shown(spec.default), spec.range_text() or _kind(spec), spec.text))
    laid = table(("setting", "default", "allowed"), [r[:3] for r in rows]).splitlines()
    return "\n".join([laid[0], *(f"{line}   {row[3]}" for line, row in zip(laid[1:], rows, strict=True))])


def _kind(spec: Spec) -> str:
    if isinstance(spec.default, bool):
        return "true | false"
    return "a list of tables" if isinstance(spec.default, list | tuple) else "text"


def _shown(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return "off" if value == -math.inf else f"{value:g}"
    return str(value) if value not in ([], ()) else "none"


def _plain(kind: type[Block[Any]]) -> dict[str, Any]:
    return {
        **_listed(kind),
        "source": kind.source,
        "settings": [_plain_setting(s) for s in kind.settings_type.specs().values()],
    }


def _plain_setting(spec: Spec) -> dict[str, Any]:
    told: dict[str, Any] = {
        "name": spec.name, "default": _shown(spec.default), "unit": spec.unit, "low": spec.low, "high": spec.high,
        "choices": list(spec.choices), "movable": spec.movable, "may_be_off": spec.may_be_off, "what": spec.text,
    }  # fmt: skip
    if spec.items is not None:
        told["items"] = [_plain_setting(s) for s in spec.items.specs().values()]
    return told
