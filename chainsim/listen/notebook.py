"""What notebooks show: a sketch as its drawing, a rendering as a player, groups of sounds as a table of players."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

import numpy as np

from chainsim.errors import AudioError
from chainsim.graph.rendering import Rendering
from chainsim.listen.drawing.svg import draw_svg
from chainsim.sketch.model import Sketch
from chainsim.units import Array, db_to_gain, gain_to_db, samples_to_ms

LONGEST_S = 120.0
"""As much of a sound goes into a notebook, which keeps all of it in its file."""
MOST_BYTES = 30_000_000
"""As much may all sounds of one output take there."""
FLAC, MP3 = "audio/flac", "audio/mpeg"


def notebook_html(shown: object) -> str:
    """HTML of a `Sketch` or a `Rendering`; TypeError for anything else."""
    if isinstance(shown, Sketch):
        return _sketch(shown)
    if isinstance(shown, Rendering):
        return _rendering(shown)
    raise TypeError(f"found {type(shown).__name__}, allowed Sketch and Rendering")


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def table_html(caption: str, head: Sequence[str], rows: Iterable[Sequence[str]], warnings: Iterable[str] = ()) -> str:
    """A table; cells that are `Html` are taken as they are, all other text is escaped."""
    cells = ("".join(f"<td>{cell if isinstance(cell, Html) else escape(cell)}</td>" for cell in row) for row in rows)
    body = "".join(f"<tr>{row}</tr>" for row in cells)
    heads = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    table = f"<table><caption>{escape(caption)}</caption><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
    return f"<div>{table}{_listed(warnings)}</div>"


def figure_text(value: float) -> str:
    """A figure for a table; silence shows as a dash."""
    return f"{round(value, 1) + 0.0:.1f}" if math.isfinite(value) else "-"


def picture_html(picture: str) -> Html:
    """What is drawn in letters."""
    return Html(f"<pre>{escape(picture)}</pre>")


def player_of_file(path: str | Path, label: str, among: int = 1) -> str:
    """An audio element with the sound of a file in it; words where the file is not there any more.

    Of `among` sounds that are shown together each has an equal share of `MOST_BYTES`: as FLAC where that is enough,
    else as MP3, else the beginning of it; words below the player say so.
    """
    from chainsim.audio.reading import open_take

    try:
        with open_take(path) as sound:
            frames = min(sound.frames, round(LONGEST_S * sound.sample_rate_hz))
            audio: Array = np.ascontiguousarray(sound.read(0, frames).T)
            player, said = _player(audio, sound.sample_rate_hz, label, frames=sound.frames, among=among)
    except AudioError:
        return "no file"
    return Html(f"{player}<br/>{escape('; '.join(said))}") if said else player


def _sketch(sketch: Sketch) -> str:
    header, base = sketch.header, sketch.base
    facts = [f"{base.tempo_bpm:g} bpm", *(fact for fact in (base.key, header.instrument) if fact)]
    if sketch.patches:
        facts.append(f"drawn as written; patches: {', '.join(sketch.patches)}")
    drawing = draw_svg(base, title=f"Signal flow of {sketch.title}")
    return (
        f"<div><p><strong>{escape(sketch.title)}</strong><br/>{escape(' · '.join(facts))}</p>"
        f'<div style="overflow-x: auto">{drawing}</div>{_listed(sketch.warnings)}</div>'
    )


def _rendering(rendering: Rendering) -> str:
    from chainsim.measure.loudness import measure_loudness

    rate_hz, frames = rendering.sample_rate_hz, len(rendering.audio)
    warnings = list(rendering.warnings)
    facts = [f"{frames / rate_hz:.1f} s", "mono" if rendering.audio.shape[1] == 1 else "stereo"]
    player = ""
    if frames:
        peak_dbfs = gain_to_db(float(np.max(np.abs(rendering.audio))))
        loudness_lufs = measure_loudness(rendering.audio, rate_hz).integrated_lufs
        facts += [f"{loudness_lufs:.1f} LUFS"] if math.isfinite(loudness_lufs) else []
        facts += [f"largest sample {peak_dbfs:.1f} dBFS" if math.isfinite(peak_dbfs) else "silent"]
        player, said = _player(rendering.audio, rate_hz, "what came out", frames=frames, among=1)
        warnings += said
    facts.append(f"latency {samples_to_ms(rendering.latency_samples, rate_hz):.1f} ms")
    return f"<div>{player}<p>{escape(' · '.join(facts))}</p>{_listed(warnings)}</div>"


def _player(audio: Array, sample_rate_hz: float, label: str, *, frames: int, among: int) -> tuple[Html, list[str]]:
    """An audio element with a sound in it, and what is to be said of that; `frames` is how long all of it is."""
    said = []
    audio = audio[: round(LONGEST_S * sample_rate_hz)]
    peak_db = gain_to_db(float(np.max(np.abs(audio), initial=0.0)))
    if peak_db > 0.0:
        said.append(f"louder than full scale: the player has it {peak_db:.1f} dB quieter")
        audio = np.clip(audio * db_to_gain(-peak_db), -1.0, 1.0)
    # In base64 four letters hold three bytes.
    kind, data, there = _encoded(audio, round(sample_rate_hz), MOST_BYTES * 3 // 4 // among)
    if there < frames:
        said.append(f"the player has the first {there / sample_rate_hz:g} s")
    if kind == MP3:
        said.append("the player has it as MP3")
    source = f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"
    told = f'controls="controls" preload="metadata" aria-label="{escape(label)}"'
    return Html(f'<audio {told} src="{source}"></audio>'), said


def _encoded(audio: Array, sample_rate_hz: int, most: int) -> tuple[str, bytes, int]:
    """A sound, or a second of it at least, in so many bytes: its kind, the bytes, and how many frames are in them."""
    from chainsim.listen.page.encoded import MP3_RATES_HZ, flac_bytes, mp3_bytes

    kind, encode = FLAC, flac_bytes
    data = encode(audio, sample_rate_hz)
    if len(data) > most and sample_rate_hz in MP3_RATES_HZ:
        kind, encode = MP3, mp3_bytes
        data = encode(audio, sample_rate_hz)
    frames = len(audio)
    while len(data) > most and frames > sample_rate_hz:
        seconds = max(1, min(math.floor(frames / sample_rate_hz * most / len(data)), frames // sample_rate_hz - 1))
        frames = seconds * sample_rate_hz
        data = encode(audio[:frames], sample_rate_hz)
    return kind, data, frames


def _listed(lines: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""
