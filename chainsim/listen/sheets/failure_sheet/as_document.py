"""The if-it-fails sheet in words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from chainsim.listen.sheets.block_words import BLOCK_WORDS, named_with_kind
from chainsim.listen.sheets.document import Document, Part, Table, listed
from chainsim.listen.sheets.failure_sheet.outcomes import Outcome
from chainsim.listen.sheets.failure_sheet.sheet import BoxFailure, FailureSheet, PatchWithout
from chainsim.listen.sheets.failure_sheet.ways_out import WayOut
from chainsim.listen.sheets.gestures import gestures_for, lamp_for
from chainsim.stage.actions import ActionKind

ALL = "all patches"
VOICES_ALONE = "voices alone"
BOX_BY_BOX = "Each block is a box of its own here; of a unit that makes several all go (see chainsim carry)"
_HEARD_LU = 1.0
"""A change of loudness that is worth telling: about what is just heard."""
T = TypeVar("T")


def failure_document(sheet: FailureSheet) -> Document:
    """Put the sheet into words."""
    return Document(
        title=sheet.title,
        kind="if it fails",
        room=sheet.room,
        in_short=tuple(_in_short(sheet)),
        parts=(
            Part("No sound: in this order", None, tuple(_first_steps(sheet)), counted=True),
            Part("One box gives nothing, and it is silent", _silencing(sheet)),
            Part("One box gives nothing: what is missing, and what to do", _boxes(sheet), tuple(_under_boxes(sheet))),
            Part("The supply is gone, or nothing helps", None, tuple(_direct(sheet)), counted=True),
        ),
        cautions=sheet.cautions,
    )


def _in_short(sheet: FailureSheet) -> Iterator[str]:
    yield _most_hangs_on(sheet)
    if len(sheet.boxes) > 1:
        yield BOX_BY_BOX


def _most_hangs_on(sheet: FailureSheet) -> str:
    most = [one for one in sheet.boxes if one.silent and len(one.silent) == len(sheet.boxes[0].silent)]
    if not most:
        return "No single box silences anything"
    count = len(most[0].silent)
    if len(sheet.patches) == 1:
        silenced = "everything"
    elif any(one.silent != most[0].silent for one in most):
        silenced = f"{count} patches"
    else:
        silenced = listed(most[0].silent, sheet.patches, ALL)
    return (
        f"Most hangs on: {', '.join(one.box for one in most)} ({'each ' if len(most) > 1 else ''}silences {silenced})"
    )


def _first_steps(sheet: FailureSheet) -> Iterator[str]:
    mute, dry = _gestures(sheet, "mute"), _gestures(sheet, "dry")
    muted, is_dry = lamp_for(sheet.board, "mute"), lamp_for(sheet.board, "dry")
    channel = "Is the engineer's channel open?"
    if mute and muted is not None:
        yield f"Is it muted? Then the lamp of {muted} is lit: {mute}, sound on again. {channel}"
    elif mute:
        yield f"Is it muted? No lamp shows it: {mute}, listen; nothing: once more. {channel}"
    else:
        yield channel
    round_all = "the plain horn, round all boxes but those that are always on"
    if dry and is_dry is not None:
        yield f"Unless the lamp of {is_dry} is lit, {dry}: {round_all}."
    elif dry:
        yield f"{dry[:1].upper()}{dry[1:]}: {round_all}. No lamp shows it: listen; nothing: once more."
    yield "No horn either: microphone and its cable, phantom supply, preamp. Change the cable first: it fails most."
    yield "A box without light: its supply, then its supply cable. Then find it below."


def _gestures(sheet: FailureSheet, kind: ActionKind) -> str:
    return " or ".join(gestures_for(sheet.board, kind))


def _silencing(sheet: FailureSheet) -> Table:
    """Boxes of which the same is to be said share a row."""
    everything = len(sheet.patches) == 1
    together: dict[tuple[str, str], list[str]] = {}
    for one in sheet.boxes:
        if one.silent:
            silent = "everything" if everything else listed(one.silent, sheet.patches, ALL)
            told = silent, _ways_out(sheet, one)
            together.setdefault(told, []).append(_name(one))
    rows = tuple((", ".join(names), *told) for told, names in together.items())
    return Table(("box gone", "silent in", "way out: press"), rows)


def _boxes(sheet: FailureSheet) -> Table:
    rows = []
    for one in sheet.boxes:
        now, after = _lives_on(sheet, one), _after(sheet, one)
        # What a player hears already needs no second telling.
        rows.append((_name(one), now, one.repair.text, "the same" if after in (now, now.partition(": ")[2]) else after))
    return Table(("box gone", "goes on, but", "then, with time", "after that"), tuple(rows))


def _name(one: BoxFailure) -> str:
    return named_with_kind(one.box, one.type_name) + (", while it is on" if one.own_switch else "")


def _grouped(patches: Sequence[PatchWithout], key: Callable[[PatchWithout], T]) -> list[tuple[T, list[PatchWithout]]]:
    """Patches of which the same is to be said, the most of them first."""
    groups: dict[T, list[PatchWithout]] = {}
    for patch in patches:
        groups.setdefault(key(patch), []).append(patch)
    return sorted(groups.items(), key=lambda group: -len(group[1]))


def _where(sheet: FailureSheet, among: int, patches: Sequence[PatchWithout]) -> str:
    """In which patches, if not in all that are spoken of."""
    return "" if among == len(patches) else listed([p.patch for p in patches], sheet.patches, ALL) + ": "


def _ways_out(sheet: FailureSheet, one: BoxFailure) -> str:
    silent = [p for p in one.patches if p.dead.kind == "silent"]
    if not silent or not sheet.board.switches:
        return ""
    told = []
    for text, patches in _grouped(silent, lambda p: _way(p.way_out, one)):
        told.append(_where(sheet, len(silent), patches) + text)
    return "; ".join(told)


def _way(way: WayOut | None, one: BoxFailure) -> str:
    if way is None:
        return "none under the foot" + ("" if one.repair.kind == "nothing" else ": its cable, see below")
    return f"{', '.join(way.gestures)} ({way.to if way.with_the_horn else VOICES_ALONE})"


def _lives_on(sheet: FailureSheet, one: BoxFailure) -> str:
    changed = [p for p in one.patches if p.dead.kind == "lives on"]
    told = [
        _where(sheet, len(sheet.patches), patches) + text
        for text, patches in _grouped(changed, lambda p: _words(one, p.dead) + _louder(p))
    ]
    return "; ".join(told)


def _after(sheet: FailureSheet, one: BoxFailure) -> str:
    changed = [p for p in one.patches if p.repaired.kind != "unchanged"]
    told = [
        _where(sheet, len(changed), patches) + text
        for text, patches in _grouped(
            changed, lambda p: "silent" if p.repaired.kind == "silent" else _words_after(one, p)
        )
    ]
    return "; ".join(told)


def _words(one: BoxFailure, outcome: Outcome) -> str:
    """What is gone, in a player's words."""
    if outcome.horn_lost:
        return "the horn itself is gone, what follows it plays"
    # What comes before it and is heard no more went through it alone; what comes behind it has nothing to work on.
    before = outcome.lost[: outcome.lost.index(one.box)] if one.box in outcome.lost else outcome.lost
    parts = [f"nothing of {', '.join(before)}" if before else BLOCK_WORDS[one.type_name].without]
    if outcome.untold:
        parts.append(f"{', '.join(outcome.untold)} hears nothing to follow")
    return ", ".join(parts)


def _words_after(one: BoxFailure, patch: PatchWithout) -> str:
    outcome, change_db = patch.repaired, patch.horn_change_db
    told = [_words(one, outcome)] if outcome.lost or outcome.untold or outcome.horn_lost else []
    if outcome.horn_came:
        told.append("the horn comes through")
    elif abs(change_db) >= _HEARD_LU:
        told.append(f"the horn {abs(change_db):.0f} dB {'louder' if change_db > 0.0 else 'softer'}")
    return ", ".join(told) or _words(one, outcome)


def _louder(patch: PatchWithout) -> str:
    change_lu = patch.louder_by_lu
    if change_lu is None or not abs(change_lu) >= _HEARD_LU:
        return ""
    return f", {abs(change_lu):.0f} LU {'louder' if change_lu > 0.0 else 'softer'}"


def _under_boxes(sheet: FailureSheet) -> Iterator[str]:
    if not sheet.boxes:
        return
    yield "Cables by their numbers on the wiring sheet. A patch that is not named goes on as it was."
    if any(one.repair.splits for one in sheet.boxes):
        yield "Split: by a cable that makes two plugs of one, as the box made two sides of one line. Have one there."
    blocking = [one.box for one in sheet.boxes if one.hangs_on_its_bypass]
    if blocking:
        yield (
            "This holds for boxes that let the horn through while they are off, even without their supply. Try it at"
            f" home: pull the plug of {', '.join(blocking)}. One that does not silences every patch whose way it stands"
            " in, on or off: put it into a loop that does."
        )


def _direct(sheet: FailureSheet) -> Iterator[str]:
    names = sheet.cabling.names
    yield (
        f"The direct plan: a spare microphone cable from the {names.microphone} straight to the {names.desk}'s"
        " microphone input, laid before the show."
    )
    yield "Tell the engineer: fader down, plug, gain up from nothing; phantom supply only if this microphone needs it."
    yield "The rest of the piece is plain horn: play what you would play without a board."
