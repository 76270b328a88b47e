"""The wiring sheet in words."""

from __future__ import annotations

from collections.abc import Iterator

from chainsim.listen.sheets.block_words import named_with_kind
from chainsim.listen.sheets.document import Document, Part, Table
from chainsim.listen.sheets.stage_sheet.chain_line import chain_line
from chainsim.listen.sheets.stage_sheet.value_text import level_text
from chainsim.listen.sheets.wiring_sheet.cables import BALANCED, Cable
from chainsim.listen.sheets.wiring_sheet.control import PEDAL_INPUT
from chainsim.listen.sheets.wiring_sheet.links import Channel, Socket
from chainsim.listen.sheets.wiring_sheet.midi_chain import CHANNELS, MERGER, MidiChain
from chainsim.listen.sheets.wiring_sheet.sheet import WiringSheet

MICROPHONE_LEVEL_DBU, LINE_LEVEL_DBU = -30.0, -10.0
"""Under the first a level is a microphone's, from the second on it is line level; common practice, no source."""
LONG_CHAIN = 4
"""Boxes behind the first from which on a thru box is worth a word; common practice, no source."""

BOX_BY_BOX = "Each block is a box of its own here: one unit that makes several needs fewer cables (see chainsim carry)"
POWER = (
    "Supply cables go in last, when all others are plugged. Which outlet feeds which box stands on the plan of"
    " chainsim carry, once it is told of your boxes and supplies.",
    "Every box: the volts, plus or minus in the middle of its plug, and no more milliamperes than the outlet gives.",
)
SWITCHING_ON = (
    "All faders down, all knobs low, the desk's channel muted.",
    "Everything plugged: supplies first, then microphone, preamp and boxes on, in the order of the chain.",
    "Phantom supply only where it is needed, and now: wait until it is steady.",
    "Desk, then loudspeakers last. Raise the fader while you play softly.",
    "Off the other way round: loudspeakers first, boxes last; then pull cables.",
)


def wiring_document(sheet: WiringSheet) -> Document:
    """Put the sheet into words."""
    return Document(
        title=sheet.title,
        kind="wiring sheet",
        room=sheet.room,
        in_short=(_counts(sheet), *([BOX_BY_BOX] if len(sheet.boxes) > 1 else [])),
        parts=(
            Part("Cables, in the order of plugging", _cables(sheet), tuple(_under_cables(sheet))),
            Part("Mixers: where lanes meet", _mixers(sheet), tuple(_aligned(sheet))),
            Part("Pedals, MIDI and switches", _control(sheet), tuple(_under_control(sheet))),
            Part("Patches with another chain", None, tuple(_changes(sheet))),
            Part("Power", None, POWER if sheet.boxes else ()),
            Part("Switching on", None, SWITCHING_ON, counted=True),
        ),
        cautions=sheet.cautions,
    )


def _counts(sheet: WiringSheet) -> str:
    count = sheet.cabling.count()
    told = [_counted(n, kind) for kind, n in count.items()]
    told += [_counted(len(sheet.cabling.splitters), "splitter")] if sheet.cabling.splitters else []
    told += [_counted(len(sheet.cabling.mixers), "mixer")] if sheet.cabling.mixers else []
    told += [_counted(n, kind) for kind, n in sheet.control.count().items()]
    told += [f"1 {MERGER}"] if sheet.control.midi is not None and sheet.control.midi.merged else []
    return f"{_counted(len(sheet.boxes), 'box', 'boxes')}; {', '.join(told)}"


def _counted(count: int, what: str, plural: str = "") -> str:
    return f"{count} {what if count == 1 else plural or what + 's'}"


def _cables(sheet: WiringSheet) -> Table:
    last_into = {cable.target.box: cable.number for cable in sheet.cabling.cables}
    rows = tuple(
        (
            str(cable.number),
            _socket_text(cable.source),
            _target_text(sheet, cable.target),
            _what(cable),
            _level(sheet, cable),
            _try(sheet, cable) if last_into[cable.target.box] == cable.number else "",
        )
        for cable in sheet.cabling.cables
    )
    return Table(("cable", "from", "to", "what", "level", "then play a note and hear"), rows)


def _socket_text(socket: Socket) -> str:
    return socket.box if socket.label in ("in", "out") else socket.text


def _target_text(sheet: WiringSheet, socket: Socket) -> str:
    """With the kind of a box where the signal goes in."""
    kind = next((box.type_name for box in sheet.boxes if box.name == socket.box), "")
    return named_with_kind(socket.box, kind) if kind and socket.label == "in" else _socket_text(socket)


def _what(cable: Cable) -> str:
    kind = "microphone, balanced" if cable.kind == BALANCED else cable.kind.removesuffix(" cable")
    return f"{kind}, left and right" if cable.channels == 2 else kind


def _level(sheet: WiringSheet, cable: Cable) -> str:
    """Where it is known: what the box before gives, and what such a level is called."""
    known = sheet.levels_dbu
    box = "input" if cable.source.box == sheet.cabling.names.preamp else cable.source.box
    level_dbu = known.get(box)
    if level_dbu is None or not level_dbu > -200.0:
        return ""
    kind = "microphone" if level_dbu < MICROPHONE_LEVEL_DBU else "line" if level_dbu >= LINE_LEVEL_DBU else "instrument"
    return f"{level_dbu:+.0f} dBu, {kind} level"


def _try(sheet: WiringSheet, cable: Cable) -> str:
    names, box = sheet.cabling.names, cable.target.box
    words = {b.name: b.try_it for b in sheet.boxes}
    if box in words:
        return words[box]
    if cable.kind == "side-chain cable":
        return "its lamp moves with the playing"
    if box in {s.name for s in sheet.cabling.splitters}:
        return "the horn at every output"
    if box == names.fold:
        return "nothing gets thin: left and right as one"
    if box in {m.name for m in sheet.cabling.mixers}:
        return "raise one channel after the other: each has its sound"
    return {
        names.preamp: "the meter moves; the loudest note leaves 10 dB of room",
        names.direct_box: "no hum; else try its earth switch",
        names.desk: "all of it, clean; the engineer's meter moves",
    }.get(box, "")


def _under_cables(sheet: WiringSheet) -> Iterator[str]:
    yield "Plug with the levels down; hear each step in headphones behind a limiter, turned low, before the next cable."
    width = sheet.cabling.out_channels
    boxes = "one direct box" if width == 1 else "two direct boxes, or one with two channels"
    yield f"To the desk: {'mono' if width == 1 else 'stereo, left and right'}, {boxes}."
    splitters = sheet.cabling.splitters
    if splitters:
        told = (f"{s.name}, one in, {s.outputs} out{', stereo' * (s.channels == 2)}" for s in splitters)
        yield f"{'; '.join(told)}: buffered, so that no box loads another."
    if any(cable.target.label == "side input" for cable in sheet.cabling.cables):
        yield "A box without a side input hears what goes into it: leave that cable out, and check its threshold."
    if sheet.trim_db:
        yield f"The last box has an output level of {level_text(sheet.trim_db)}."
    if sheet.stands_for_noise:
        yield f"No box: {', '.join(sheet.stands_for_noise)} (stands for the noise of others)."


def _mixers(sheet: WiringSheet) -> Table:
    rows = [
        (
            f"{mixer.name}, channel {channel.number}",
            channel.lane,
            "stereo" if channel.channels == 2 else "mono",
            level_text(channel.level_db),
            _pan(channel),
        )
        for mixer in sheet.cabling.mixers
        for channel in mixer.channels
    ]
    return Table(("mixer", "lane", "signal", "level", "pan"), tuple(rows))


def _pan(channel: Channel) -> str:
    if channel.pan is None or channel.pan == 0.0:
        return "" if channel.pan is None else "middle"
    return f"{abs(100.0 * channel.pan):.0f} % {'left' if channel.pan < 0.0 else 'right'}"


def _aligned(sheet: WiringSheet) -> Iterator[str]:
    for mixer in sheet.cabling.mixers:
        if mixer.aligned:
            yield f"{mixer.name}: its lanes are aligned; in boxes that takes a short delay in each earlier lane."


def _control(sheet: WiringSheet) -> Table:
    rows = tuple(
        (c.source, c.kind.removesuffix(" cable") or "none: the box's own", c.into, c.does) for c in sheet.control.cables
    )
    return Table(("from", "cable", "into", "what it does"), rows)


def _under_control(sheet: WiringSheet) -> Iterator[str]:
    if sheet.control.midi is not None:
        yield from _midi(sheet.control.midi)
    if any(c.into == PEDAL_INPUT for c in sheet.control.cables):
        yield "A pedal that moves several boxes does it over MIDI; a box that has a jack for one may have its own."
        yield "A foot board without a pedal input: a box that makes MIDI of a pedal, into a merger, in its place."
    if sheet.dry_by:
        yield (
            f"The plain horn ({', '.join(sheet.dry_by)}): a switch that takes the horn round all boxes but those that"
            " are always on."
        )


def _midi(midi: MidiChain) -> Iterator[str]:
    if midi.merged:
        into = f"{len(midi.senders)} into the {MERGER}, one from it into {midi.boxes[0]}"
    else:
        into = f"{_counted(1, 'cable')} into {midi.boxes[0]}"
    onward = len(midi.boxes) - 1
    along = f", then {onward} from box to box, out of thru: {' > '.join(midi.boxes)}" if onward else ""
    yield f"MIDI, {_counted(midi.cables, 'cable')}: {into}{along}."
    if onward:
        yield (
            "Every box hears all of it: give each a MIDI channel of its own, and each sender those of its boxes."
            + (f" There are {CHANNELS}: some boxes have to share one." if len(midi.boxes) > CHANNELS else "")
        )
    if onward >= LONG_CHAIN:
        yield "Where notes get lost in so long a chain, a thru box (one in, many out) feeds them side by side."


def _changes(sheet: WiringSheet) -> Iterator[str]:
    for change in sheet.changes:
        yield f"{', '.join(change.patches)}: {chain_line(change.chain)}"
        if change.loops:
            yield (
                f"Boxes that stand at another place there: {', '.join(change.loops)}. A switching box that changes the"
                f" order of {_counted(len(change.loops), 'loop')} does it, or cables replugged between two pieces."
            )
        else:
            yield "The same boxes in the same order; lanes or levels differ: set the mixer by patch, or by hand."
        if change.left_out:
            yield f"Not in it, so switched off: {', '.join(change.left_out)}."
