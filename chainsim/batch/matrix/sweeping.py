"""Values of settings tried one after the other: a sketch's text with each of them written in, read anew."""

from __future__ import annotations

import itertools
import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from chainsim.batch.results.keys import sketch_digest
from chainsim.errors import SettingError, SketchError, nearest, printable
from chainsim.sketch.chain import block_names
from chainsim.sketch.general_settings import Header
from chainsim.sketch.loading import parse_sketch
from chainsim.sketch.model import Sketch, State
from chainsim.sketch.rewriting import with_settings

_QUOTED = r"""\"(?:\\.|[^\"\\])*\"|'[^']*'"""
_PART = re.compile(rf"((?:{_QUOTED}|\[[^\[\]]*\]|\{{[^{{}}]*\}}|[^,])*),")
"""What ends with a comma that does not stand in quotes or brackets."""

Vary = Mapping[str, Sequence[Any]]
"""Values by "BLOCK.SETTING", or by a setting of the sketch's head such as "tempo_bpm"."""


def read_vary(text: str) -> tuple[str, list[Any]]:
    """Read "wah.q=0.7,2,5": a setting and its values, each spelled as in a sketch; words without commas need no quotes.

    Raises
    ------
    SettingError
        If it has no values, or an empty one.
    """
    name, equals, values = text.partition("=")
    if not equals or not name.strip() or not values.strip():
        raise SettingError(f"vary {text}: write it as BLOCK.SETTING=VALUE,VALUE, such as wah.q=0.7,2,5")
    found = _toml(f"[{values}]")
    if found:
        return name.strip(), found
    words = [part.strip() for part in _PART.findall(f"{values},")]
    if "" in words:
        raise SettingError(f"vary {text}: value {words.index('') + 1} is empty; write one between two commas")
    return name.strip(), [_word(part) for part in words]


def plain_vary(vary: Mapping[str, Iterable[Any]]) -> dict[str, list[Any]]:
    """Values as a sketch holds them, where they may have been numpy's.

    Raises
    ------
    SettingError
        If a setting has no values, or one of them twice.
    """
    plain = {}
    for name, given in vary.items():
        is_list = isinstance(given, Iterable) and not isinstance(given, str)
        values = [value.tolist() if hasattr(value, "tolist") else value for value in given] if is_list else []
        if not values:
            raise SettingError(f"vary {name}: found {given!r:.60}, allowed a list of values")
        spelled: dict[str, list[str]] = {}
        for value in values:
            spelled.setdefault(json.dumps(_number_alike(value)), []).append(spelling(value))
        for alike in spelled.values():
            if len(alike) > 1:
                is_one = f"stands there {len(alike)} times" if len(set(alike)) == 1 else "are one value"
                raise SettingError(f"vary {name}: {' and '.join(dict.fromkeys(alike))} {is_one}")
        plain[name] = values
    return plain


def sweep(sketch: Sketch, name: str, vary: Vary) -> list[tuple[dict[str, Any], Sketch]]:
    """The sketch with every combination of values, in order, the last setting changing fastest.

    Parameters
    ----------
    sketch : Sketch
        As read, in a room or a patch of it alone; patches and rooms inherit what is varied, unless they set it.
    name : str
        What messages call it.
    vary : mapping

    Returns
    -------
    list of (values by setting, Sketch)

    Raises
    ------
    SketchError
        If the sketch has no such block or setting, or a value is not allowed: one line for each fault.
    """
    if not vary:
        return [({}, sketch)]
    if sketch_digest(_read_again(sketch, sketch.text, name)) != sketch_digest(sketch):
        raise SketchError(f"{name}: was changed after it was read; only what a text says can be varied")
    _check_names(sketch, name, vary)
    found: list[tuple[dict[str, Any], Sketch]] = []
    faults: list[str] = []
    for values in itertools.product(*vary.values()):
        chosen = dict(zip(vary, values, strict=True))
        try:
            text = with_settings(sketch.text, {_place(setting): value for setting, value in chosen.items()})
            found.append((chosen, _read_again(sketch, text, f"{name}, varied")))
        except SketchError as error:
            faults += [fault for fault in error.faults if fault not in faults]
    if faults:
        raise SketchError(faults)
    return found


def without_effect(swept: Sequence[tuple[Mapping[str, Any], Sketch]]) -> Iterator[str]:
    """Varied settings that a sketch's states hold alike, whatever the value.

    Parameters
    ----------
    swept : sequence of (values by setting, Sketch)
        One sketch, or one patch of it, with every combination.

    Yields
    ------
    str
        Names of settings.
    """
    for setting in swept[0][0]:
        first: dict[str, list[Any]] = {}
        for chosen, sketch in swept:
            first.setdefault(spelling(chosen[setting]), _held(sketch, setting))
        held = list(first.values())
        if len(held) > 1 and all(each == held[0] for each in held):
            yield setting


def spelling(value: Any) -> str:
    """A value on one line, as in a list of them."""
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _read_again(sketch: Sketch, text: str, name: str) -> Sketch:
    """Read a text, and choose room and patch as they were chosen before."""
    read = parse_sketch(text, name=name, folder=sketch.folder)
    read = read if sketch.room is None else read.in_room(sketch.room)
    return read if sketch.patch is None else read.alone(sketch.patch)


def _check_names(sketch: Sketch, name: str, vary: Vary) -> None:
    known = {n for state in _states(parse_sketch(sketch.text, folder=sketch.folder)) for n in block_names(state.chain)}
    faults = []
    for setting in vary:
        block, _ = _place(setting)
        if block and block not in known:
            what = (
                f'no block "{block}" in its chain{nearest(block, known) or "; there are " + ", ".join(sorted(known))}'
            )
            faults.append(f"{name}: vary {setting}: {what}")
        elif not block and setting not in Header.specs():
            known_text = nearest(setting, Header.specs()) or "; a block's is written BLOCK.SETTING"
            faults.append(f'{name}: vary {setting}: no setting "{setting}" of a sketch{known_text}')
    if faults:
        raise SketchError(map(printable, faults))


def _place(setting: str) -> tuple[str, str]:
    block, _, name = setting.rpartition(".")
    return block, name


def _states(sketch: Sketch) -> list[State]:
    return [sketch.base, *(patch.state for patch in sketch.patches.values())]


def _held(sketch: Sketch, setting: str) -> list[Any]:
    """What each state of a sketch holds for a setting; None where it is not heard."""
    block, name = _place(setting)
    if not block:
        return [getattr(state, name, getattr(sketch.header, name)) for state in _states(sketch)]
    return [_held_by_block(state, block, name) for state in _states(sketch)]


def _held_by_block(state: State, block: str, name: str) -> Any:
    if block not in block_names(state.chain):
        return None
    entry = state.blocks[block]
    if name != "engaged" and (block not in state.engaged or (block, name) in state.drives):
        return None
    return getattr(entry.settings, name, getattr(entry.common, name, None))


def _number_alike(value: Any) -> Any:
    """A value of which 2 and 2.0 are the same."""
    if isinstance(value, list):
        return [_number_alike(each) for each in value]
    if isinstance(value, dict):
        return {name: _number_alike(each) for name, each in value.items()}
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _toml(text: str) -> Any:
    """A value as TOML spells it; None if it is none, has a comment, or is of a kind that sketches have not."""
    if "#" in re.sub(_QUOTED, "", text):
        return None
    try:
        values = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return None
    return values["value"] if set(values) == {"value"} and _is_plain(values["value"]) else None


def _is_plain(value: Any) -> bool:
    if isinstance(value, list):
        return all(map(_is_plain, value))
    if isinstance(value, dict):
        return all(map(_is_plain, value.values()))
    return isinstance(value, str | int | float)


def _word(text: str) -> Any:
    found = _toml(text)
    return text if found is None else found
