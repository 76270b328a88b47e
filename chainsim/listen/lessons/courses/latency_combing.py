"""Latency and combing: a copy that comes a little late takes away every frequency of which it is half a period late.

first notch = 1 / (2 delay)                                                                                  (1)
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chainsim.graph.rendering import render
from chainsim.listen.lessons.claims import Reading, amount, compared, what_is_left
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import Curve, frequency_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import difference_db
from chainsim.sketch.loading import parse_sketch
from chainsim.units import Array

SHORT_MS, LONG_MS, LANE_MS = 1.0, 30.0, 4.0
CLICK_S = 1.0
EAR_OCTAVES = 1.0 / 3.0
"""About the width in which the ear takes frequencies together."""
LOWEST_HZ, HIGHEST_HZ = 100.0, 8000.0

LATE = """
chain = [{{ lanes = ["dry", "late"] }}]

[blocks.late]
type = "delay"
time_ms = {time_ms}
feedback_percent = 0
low_cut_hz = 10
high_cut_hz = 18000
dry_db = "off"
wet_db = 0
"""
SHORT = 'title = "a copy 1 ms late"' + LATE.format(time_ms=SHORT_MS)
LONG = 'title = "a copy 30 ms late"' + LATE.format(time_ms=LONG_MS)

GUARDED = f"""
chain = [{{{{ lanes = ["dry", "guard"]{{align}} }}}}]

[blocks.guard]
type = "limiter"
ceiling_dbtp = 0
look_ahead_ms = {LANE_MS}
"""
LOOSE = 'title = "a lane that is late"' + GUARDED.format(align="")
ALIGNED = 'title = "lanes aligned"' + GUARDED.format(align=", align = true")


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Three steps."""
    short = excerpt.through(SHORT, "copy 1 ms late")
    return (_notches(excerpt, short), _echo(excerpt, short), _aligned(excerpt))


def _notches(excerpt: Excerpt, short: Heard) -> StepDraft:
    freq_hz, gain_db = _response(SHORT, excerpt.sample_rate_hz)
    below = freq_hz < 1.5 * 500.0 / SHORT_MS
    measured = Reading(
        "first notch, from a click through the chain", float(freq_hz[below][np.argmin(gain_db[below])]), "Hz", 0
    )
    formula = Reading("first notch, 1 / (2 \N{MULTIPLICATION SIGN} delay)", 500.0 / SHORT_MS, "Hz", 0)
    return StepDraft(
        heading="The horn and a copy one millisecond later",
        does=(
            "Two lanes meet: the horn as it is, and the same a millisecond late, as after a short digital box. "
            "Where the copy is half a wave late, the two take each other away."
        ),
        heard=(excerpt.dry, short),
        claims=(
            compared(
                formula, measured, least=5.0, expects="same",
                more="The first notch lies {difference} over 1 / (2 \N{MULTIPLICATION SIGN} 1 ms): at {second}.",
                less="The first notch lies {difference} under 1 / (2 \N{MULTIPLICATION SIGN} 1 ms): at {second}.",
                same="A click through this chain finds the first notch at {second}; "
                "1 / (2 \N{MULTIPLICATION SIGN} 1 ms) is {first}.",
            ),
        ),
        listen_for="A hollow, pipe-like colour that stays where it is while your notes move through it.",
        question="A box is 2 ms late. Where is its first notch, if you blend it with the dry horn?",
        answer=(
            "At 1 / (2 \N{MULTIPLICATION SIGN} 2 ms) = 250 Hz, near the B below middle C, then at three, five, seven "
            f"times that. Here, with 1 ms, it was measured at {measured.text}."
        ),
        picture=frequency_picture(
            [Curve("copy 1 ms late", *_shown(freq_hz, gain_db))], "What the chain does to each frequency",
            f"A comb: gain over frequency, with its first notch at {measured.text} and others at odd multiples of it.",
            top_db=10.0, down_db=40.0,
        ),
    )  # fmt: skip


def _echo(excerpt: Excerpt, short: Heard) -> StepDraft:
    long = excerpt.through(LONG, "copy 30 ms late")
    ripple = [
        Reading(
            f"ups and downs in thirds of an octave, {name}",
            _ripple_db(*_response(sketch, excerpt.sample_rate_hz)),
            "dB",
        )
        for sketch, name in ((SHORT, "1 ms"), (LONG, "30 ms"))
    ]
    return StepDraft(
        heading="The same copy thirty milliseconds late",
        does=(
            "The notches are still there, but now they lie 33 Hz apart: dozens of them fall into what the ear takes "
            "together as one colour. What is left is a second player, not a hollow horn."
        ),
        heard=(short, long),
        claims=(
            compared(
                ripple[0], ripple[1], least=3.0, expects="less",
                more="In thirds of an octave the later copy goes up and down {difference} more.",
                less="In thirds of an octave the copy 30 ms late goes up and down by {second} between 100 Hz and "
                "8 kHz, the copy 1 ms late by {first}.",
                same="In thirds of an octave both go up and down by as much: {second}.",
            ),
        ),
        listen_for="Does it change the colour of the horn, or does somebody play along?",
        question="Your harmony box is 20 ms late. Is the comb your worry, or something else?",
        answer=(
            "Something else: that it drags. From some 20 ms on, a copy is heard as a second attack, not as a colour. "
            f"The comb is a matter of a few milliseconds: {ripple[0].text} of ups and downs at 1 ms, "
            f"{ripple[1].text} at 30 ms."
        ),
        picture=spectrum_picture(
            (short, long),
            f"Spectra of both sounds. In thirds of an octave the chain with 1 ms goes up and down by {ripple[0].text}, "
            f"the one with 30 ms by {ripple[1].text}.",
        ),
    )  # fmt: skip


def _aligned(excerpt: Excerpt) -> StepDraft:
    loose, aligned = excerpt.through(LOOSE, "lane 4 ms late"), excerpt.through(ALIGNED, "lanes aligned")
    left = [
        what_is_left(f"what differs from the horn, {h.name}", difference_db(excerpt.dry.raised(6.0206, "twice"), h))
        for h in (loose, aligned)
    ]
    curves = [
        Curve(name, *_shown(*_response(sketch, excerpt.sample_rate_hz)))
        for sketch, name in ((LOOSE, "lane 4 ms late"), (ALIGNED, "lanes aligned"))
    ]
    return StepDraft(
        heading="A box that is late of itself",
        does=(
            f"A limiter looks {LANE_MS:g} ms ahead, so its lane comes {LANE_MS:g} ms late and the lanes comb. "
            "With align = true the dry lane waits for it."
        ),
        heard=(loose, aligned),
        claims=(
            compared(
                left[0], left[1], least=10.0, expects="less",
                more="Aligned, what differs from the horn grows by {difference}.",
                less="Aligned, what differs from the horn itself falls from {first} to {second}: the comb is gone.",
                same="Aligned or not, as much differs from the horn: {second}.",
            ),
        ),
        listen_for="The low notes: in one of the two some of them are nearly missing.",
        question="Aligning costs something. What?",
        answer=(
            f"Time: the whole sound is now {amount(1000.0 * aligned.latency_s, 'ms')} late, the dry horn too. "
            "On a stage that is little; through a loudspeaker beside you it adds to what the air takes, "
            "about 3 ms a metre."
        ),
        picture=frequency_picture(
            curves, "What the chain does to each frequency",
            "Gain over frequency: a comb where the lane is late, a straight line where the lanes are aligned.",
            top_db=10.0, down_db=40.0,
        ),
    )  # fmt: skip


def _response(sketch: str, rate_hz: float) -> tuple[Array, Array]:
    """Gain of a chain in dB from 20 Hz on, from a click too quiet to drive anything."""
    click = np.zeros(round(CLICK_S * rate_hz))
    click[0] = 0.25
    audio = render(parse_sketch(sketch), click, rate_hz).audio[: click.size, 0]
    gain = np.abs(np.fft.rfft(audio, click.size)) / 0.25
    freq_hz = np.fft.rfftfreq(click.size, 1.0 / rate_hz)
    heard = freq_hz >= 20.0
    gain_db: Array = 20.0 * np.log10(np.maximum(gain[heard], 1e-6))
    return freq_hz[heard].astype(np.float64), gain_db


def _ripple_db(freq_hz: Array, gain_db: Array) -> float:
    """How far the highest third of an octave lies over the lowest."""
    bands = int(np.log2(HIGHEST_HZ / LOWEST_HZ) / EAR_OCTAVES * 4.0)
    middles = LOWEST_HZ * 2.0 ** (np.arange(bands) * EAR_OCTAVES / 4.0)
    power = 10.0 ** (gain_db / 10.0)
    half = 2.0 ** (0.5 * EAR_OCTAVES)
    levels = [float(np.mean(power[(freq_hz >= f / half) & (freq_hz < f * half)])) for f in middles]
    return float(10.0 * np.log10(max(levels) / min(levels)))


def _shown(freq_hz: Array, gain_db: Array) -> tuple[Array, Array]:
    """As many points as a picture can show."""
    at_hz = np.geomspace(60.0, min(12_000.0, float(freq_hz[-1])), 600)
    return at_hz, np.interp(at_hz, freq_hz, gain_db)


COURSE = Course(
    key="latency-and-combing",
    title="Latency and combing",
    asks="Why does a horn sound hollow when a late copy of it is mixed in, and how late is too late?",
    take="low_water_tenor_sax",
    steps=steps,
    sources=(
        "First notch at 1 / (2 delay): J. O. Smith III, Physical Audio Signal Processing, "
        "\u201cFeedforward Comb Filters\u201d; the page measures it with a click as well.",
        "That the ear takes about a third of an octave together: E. Zwicker, H. Fastl, Psychoacoustics, "
        "on critical bands.",
    ),
)
