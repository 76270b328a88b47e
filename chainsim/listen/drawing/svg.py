"""The signal flow as SVG, for pages and for files of its own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from chainsim.listen.drawing.arrows import arrow_head, shaft
from chainsim.listen.drawing.layout import TURNED, lay_out
from chainsim.listen.drawing.named_wires import named_wires
from chainsim.listen.drawing.shapes import Box, Circle, Label, Layout, Point, Sample, Triangle, Wire
from chainsim.sketch.chain import block_names
from chainsim.sketch.model import BlockEntry, State

if TYPE_CHECKING:
    from chainsim.listen.drawing.wires import WireFigures

FONT = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
DASHES = {"sound": "", "silent": "1 5", "detector": "6 4", "out": "5 4"}
THROUGH = ' pointer-events="none"'
"""Of what lies on a wire: who presses it means the wire."""
STYLE = """
svg { background: #fffdf8; color: #1d1a16; }
.muted { fill: #5b5348; }
@media (prefers-color-scheme: dark) {
  svg { background: #191714; color: #f1ece2; }
  .muted { fill: #b9ae9c; }
}
"""


def draw_svg(
    state: State,
    *,
    title: str,
    heading: str | None = None,
    figures: Mapping[str, WireFigures] | None = None,
    sounds: Mapping[str, str] | None = None,
    standalone: bool = False,
) -> str:
    """Draw the signal flow of a state.

    Parameters
    ----------
    state : State
    title : str
        What readers that do not see are told it is.
    heading : str, optional
        What is written over it.
    figures : dict of WireFigures, optional
        Latency and loudness, written at the wires of these names.
    sounds : dict of str, optional
        Keys of the sounds to be heard on wires, by the wires' names: these can be focused, and name the key in
        `data-sound`.
    standalone : bool
        For a file of its own: with paper, ink and the XML name space.

    Returns
    -------
    str
        An svg element; lines and letters take the colour of the text around it.
    """
    layout = lay_out(state, figures, heading=heading)
    width, height = _n(layout.width), _n(layout.height)
    size = f'viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
    namespace = ' xmlns="http://www.w3.org/2000/svg"'
    lines = [
        f'<svg{namespace} class="drawing" {size} role="group" aria-label={_value(title)}'
        f' font-family="{FONT}" fill="none" stroke="none">',
        f"<title>{_text(title)}</title>",
        f"<desc>{_text(_described(state))}</desc>",
        *([f"<style>{STYLE}</style>"] if standalone else []),
        *_wires(layout, _titles(state), sounds or {}),
        *map(_box, layout.boxes),
        *map(_triangle, layout.triangles),
        *map(_circle, layout.circles),
        *map(_label, layout.labels),
        *map(_sample, layout.legend),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _described(state: State) -> str:
    names = list(block_names(state.chain))
    if not names:
        return "A straight wire from the horn to the house."
    words = (f"{name} ({_kind(state.blocks[name])})" for name in names)
    return f"From the horn to the house: {', '.join(words)}."


def _kind(entry: BlockEntry) -> str:
    kind = entry.type_name.replace("_", " ")
    if not entry.common.engaged:
        return f"{kind}, out of the chain"
    turned = entry.type_name == "blender" and getattr(entry.settings, TURNED)
    return f"{kind}, the polarity of its wet path turned" if turned else kind


def _titles(state: State) -> dict[str, str]:
    """What is told of each wire: its name, what runs there, and its other names."""
    titles: dict[str, str] = {}
    for wire in named_wires(state):
        if wire.same_as is None:
            titles[wire.name] = f"{wire.name}: {wire.what}"
        else:
            titles[wire.same_as] += f"; also {wire.name}"
    return titles


def _wires(layout: Layout, titles: Mapping[str, str], sounds: Mapping[str, str]) -> Iterable[str]:
    """Every wire by its name as one group, so that a sound is one place to stop at."""
    groups: dict[tuple[str | None, str], list[Wire]] = {}
    for wire in layout.wires:
        groups.setdefault((wire.name, wire.kind), []).append(wire)
    for (name, kind), wires in groups.items():
        told = None if name is None or kind == "detector" else name
        key = None if told is None else sounds.get(told)
        about = "" if name is None else f" data-wire={_value(name)}"
        if key is not None:
            about += f' data-sound={_value(key)} role="button" tabindex="0" aria-label={_value(f"hear {name}")}'
        yield f'<g class="wire {kind}"{about}>'
        if told is not None:
            yield f"<title>{_text(titles[told] if key is None else f'hear {told}')}</title>"
        if key is not None or (told is not None and not sounds):
            path = " ".join(_path(wire.points) for wire in wires)
            yield f'<path class="hit" d="{path}" stroke="currentColor" stroke-opacity="0" stroke-width="18"/>'
        yield from (_wire(wire) for wire in wires)
        yield "</g>"


def _wire(wire: Wire) -> str:
    points, head = wire.points, ""
    if wire.arrow:
        points = shaft(wire.points)
        corners = " ".join(f"{_n(x)},{_n(y)}" for x, y in arrow_head(wire.points))
        head = f'<polygon class="arrow" points="{corners}" fill="currentColor"/>'
    dashes = f' stroke-dasharray="{DASHES[wire.kind]}"' if DASHES[wire.kind] else ""
    weight = "1.6" if wire.kind == "sound" else "1.3"
    return f'<path class="line" d="{_path(points)}" stroke="currentColor" stroke-width="{weight}"{dashes}/>{head}'


def _path(points: tuple[Point, ...]) -> str:
    text = f"M{_n(points[0][0])} {_n(points[0][1])}"
    for (_, y0), (x, y) in pairwise(points):
        text += f"H{_n(x)}" if y == y0 else f"V{_n(y)}"
    return text


def _box(box: Box) -> str:
    dashes = "" if box.engaged else f' stroke-dasharray="{DASHES["out"]}"'
    radius = {"block": 3, "pan": box.height / 2, "wait": 3}[box.kind]
    out = "" if box.engaged else ", out of the chain"
    told = _text(f"{box.name}: {box.type_words}{out}")
    return (
        f'<g class="box {box.kind}{"" if box.engaged else " out"}"><title>{told}</title>'
        f'<rect x="{_n(box.x)}" y="{_n(box.y)}" width="{_n(box.width)}" height="{_n(box.height)}" rx="{_n(radius)}"'
        f' stroke="currentColor" stroke-width="1.6"{dashes}/></g>'
    )


def _triangle(triangle: Triangle) -> str:
    corners = " ".join(f"{_n(x)},{_n(y)}" for x, y in triangle.corners)
    return (
        f'<polygon class="gain" points="{corners}" stroke="currentColor" stroke-width="1.6" stroke-linejoin="round"/>'
    )


def _circle(circle: Circle) -> str:
    x, y, r = _n(circle.x), _n(circle.y), circle.radius
    if circle.kind == "branch":
        return f'<circle class="branch" cx="{x}" cy="{y}" r="{_n(r)}" fill="currentColor"{THROUGH}/>'
    about = f'class="{circle.kind}" cx="{x}" cy="{y}" r="{_n(r)}"'
    ring = f'<circle {about} stroke="currentColor" stroke-width="1.6"/>'
    if circle.kind == "end":
        return ring
    arm = r - 4.0
    cross = f"M{_n(circle.x - arm)} {y}H{_n(circle.x + arm)}M{x} {_n(circle.y - arm)}V{_n(circle.y + arm)}"
    return f'{ring}<path d="{cross}" stroke="currentColor" stroke-width="1.6"/>'


def _label(label: Label) -> str:
    weight = ' font-weight="600"' if label.bold else ""
    about = "" if label.about is None else f" data-figure-of={_value(label.about)}{THROUGH}"
    place = f'x="{_n(label.x)}" y="{_n(label.y)}" font-size="{_n(label.size)}" text-anchor="{label.anchor}"'
    ink = "muted" if label.muted else "ink"
    return f'<text class="{ink}" {place} fill="currentColor"{weight}{about}>{_text(label.text)}</text>'


def _sample(sample: Sample) -> str:
    left, top, right, _ = sample.rect
    about = f'class="sample {sample.kind}" stroke="currentColor" stroke-dasharray="{DASHES[sample.kind]}"'
    if sample.kind == "out":
        size = f'x="{_n(left)}" y="{_n(top)}" width="{_n(sample.width)}" height="{_n(sample.height)}" rx="3"'
        return f'<rect {about} stroke-width="1.6" {size}/>'
    return f'<path {about} stroke-width="1.3" d="M{_n(left)} {_n(sample.y)}H{_n(right)}"/>'


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _text(text: str) -> str:
    return escape(_clean(text))


def _value(text: str) -> str:
    """An attribute's value, in quotes."""
    return quoteattr(_clean(text))


def _clean(text: str) -> str:
    """Without the characters that XML cannot hold."""
    allowed = (c in "\t\n" or (c >= " " and c not in "\ufffe\uffff") for c in text)
    return "".join(c if ok else "\N{REPLACEMENT CHARACTER}" for c, ok in zip(text, allowed, strict=True))
