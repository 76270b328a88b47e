"""Latency and combing: a copy that comes a little late takes away every frequency of which it is half a period late.

first notch = 1 / (2 delay)                                                                                  (1)
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from chainsim.listen.lessons.claims import Reading, amount, compared, what_is_left
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import Curve, frequency_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import difference_db
from chainsim.listen.lessons.responses import (
    DRAWN_TO_HZ,
    drawn,
    notches_hz,
    response_db,
    ripple_db,
    third_of_an_octave,
)
from chainsim.units import Array

SHORT_MS, LONG_MS, LANE_MS = 1.0, 30.0, 4.0
RIPPLE_FROM_HZ, RIPPLE_TO_HZ = 100.0, 8000.0
UNDER_RATE = 0.4
"""Share of the sample rate up to which a chain's gain counts."""
COUNTED_AT_HZ = 1000.0
CAPTION = "What the chain does to each frequency: what came out against the take"

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
    gains = response_db(excerpt.dry, short)
    notches = notches_hz(*gains)
    measured = Reading(
        "first notch, from the take and the sound", float(notches[0]) if notches.size else math.nan, "Hz", 0
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
                formula, measured, least=10.0, expects="same",
                more="The first notch lies {difference} over 1 / (2 \N{MULTIPLICATION SIGN} 1 ms): at {second}.",
                less="The first notch lies {difference} under 1 / (2 \N{MULTIPLICATION SIGN} 1 ms): at {second}.",
                same="Between the take and this sound, the first notch is found at {second}; "
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
            [Curve("copy 1 ms late", *drawn(*gains))], CAPTION,
            f"Gain over frequency, its first notch at {measured.text}; {_how_many(notches)} are found below 12 kHz.",
            top_db=10.0, down_db=40.0,
        ),
    )  # fmt: skip


def _echo(excerpt: Excerpt, short: Heard) -> StepDraft:
    long = excerpt.through(LONG, "copy 30 ms late")
    gains = [response_db(excerpt.dry, h) for h in (short, long)]
    high_hz = min(RIPPLE_TO_HZ, UNDER_RATE * excerpt.sample_rate_hz)
    ripple = [
        Reading(f"ups and downs in thirds of an octave, {h.name}", ripple_db(*g, RIPPLE_FROM_HZ, high_hz), "dB")
        for h, g in zip((short, long), gains, strict=True)
    ]
    low_end, high_end = third_of_an_octave(COUNTED_AT_HZ)
    counts = [
        Reading(
            f"notches from {low_end:.0f} to {high_end:.0f} Hz, {h.name}", _between(notches, low_end, high_end), "", 0
        )
        for h, notches in zip((short, long), (notches_hz(*g) for g in gains), strict=True)
    ]
    apart = amount(1000.0 / LONG_MS, "Hz", 0)
    return StepDraft(
        heading="The same copy thirty milliseconds late",
        does=(
            f"The notches are still there, but {apart} apart. Of what the ear takes together, about a third of an "
            f"octave, there go {_in_a_third(250.0)} into one around 250 Hz, {_in_a_third(1000.0)} around 1 kHz, "
            f"{_in_a_third(4000.0)} around 4 kHz. Where it is many, they are no colour any more."
        ),
        heard=(short, long),
        claims=(
            compared(
                counts[0], counts[1], least=2.0, expects="more",
                more="Around 1 kHz, the later copy makes {second} notches within a third of an octave, the copy "
                "1 ms late {first}.",
                less="Around 1 kHz, the later copy makes only {second} notches within a third of an octave, the copy "
                "1 ms late {first}.",
                same="Around 1 kHz, both make as many notches within a third of an octave: {second}.",
            ),
            compared(
                ripple[0], ripple[1], least=3.0, expects="less",
                more="In thirds of an octave the later copy goes up and down {difference} more.",
                less="In thirds of an octave the copy 30 ms late goes up and down by {second} between "
                f"{amount(RIPPLE_FROM_HZ, 'Hz', 0)} and {amount(high_hz, 'Hz', 0)}, the copy 1 ms late by {{first}}.",
                same="In thirds of an octave both go up and down by as much: {second}.",
            ),
        ),
        listen_for="Does it change the colour of the horn, or does somebody play along?",
        question="Your harmony box is 20 ms late. Is the comb your worry, or something else?",
        answer=(
            "Rather something else: that it drags. From some 10 to 30 ms on, the sooner the shorter the note, a copy "
            "is heard as a second attack and no more as a colour. "
            f"In thirds of an octave {ripple[0].text} of ups and downs are left at 1 ms, {ripple[1].text} at 30 ms."
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
    gains = [response_db(excerpt.dry, h) for h in (loose, aligned)]
    found = [_how_many(notches_hz(*g)) for g in gains]
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
            [Curve(h.name, *drawn(*g)) for h, g in zip((loose, aligned), gains, strict=True)], CAPTION,
            f"Gain over frequency, below 12 kHz: {found[0]} where the lane is late, {found[1]} where the lanes are "
            "aligned.",
            top_db=10.0, down_db=40.0,
        ),
    )  # fmt: skip


def _in_a_third(freq_hz: float) -> str:
    """How many notches of the longer comb lie in a third of an octave."""
    low, high = third_of_an_octave(freq_hz)
    return f"{(high - low) * LONG_MS / 1000.0:.0f}"


def _between(notches: Array, low_hz: float, high_hz: float) -> float:
    return float(np.count_nonzero((notches >= low_hz) & (notches < high_hz)))


def _how_many(notches: Array) -> str:
    count = int(_between(notches, 0.0, DRAWN_TO_HZ))
    return "no notch" if count == 0 else "1 notch" if count == 1 else f"{count} notches"


COURSE = Course(
    key="latency-and-combing",
    title="Latency and combing",
    asks="Why does a horn sound hollow when a late copy of it is mixed in, and how late is too late?",
    take="low_water_tenor_sax",
    steps=steps,
    sources=(
        "First notch at 1 / (2 delay): J. O. Smith III, Physical Audio Signal Processing, "
        "\u201cFeedforward Comb Filters\u201d; the page finds it between the take and what came out.",
        "That the ear takes about a third of an octave together, below 500 Hz rather 100 Hz: E. Zwicker, H. Fastl, "
        "Psychoacoustics, on critical bands. From when on a copy is heard apart: R. Y. Litovsky and others, "
        "\u201cThe precedence effect\u201d, J. Acoust. Soc. Am. 106(4), 1999.",
    ),
)
