"""A horn shifted up against a synth for the same voice: same pitch, another player."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from chainsim.listen.lessons.claims import Reading, amount, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import note_begins_s
from chainsim.measure.fundamental import fundamental_hz
from chainsim.measure.spectral_distance import log_spectral_distance_db
from chainsim.measure.steady_notes import find_steady_notes
from chainsim.units import Array

SEMITONES, INTERVAL = 7, "P5 above"
RANGE_HZ = (100.0, 1200.0)
FIRST_S = 0.02

SHIFTED = f"""
title = "horn, shifted"
chain = ["voice"]

[blocks.voice]
type = "pitch_shifter"
voices = [{{ interval = "{INTERVAL}" }}]
"""
SYNTH = f"""
title = "synth"
chain = ["voice"]

[blocks.voice]
type = "following_synth"
voices = [{{ waveform = "saw", interval = "{INTERVAL}" }}]
cutoff_hz = 3500
"""
WITH_HORN = 'chain = [{ lanes = ["dry", { chain = ["voice"], level_db = -4 }] }]'


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Two steps."""
    shifted, synth = excerpt.through(SHIFTED, "horn, shifted"), excerpt.through(SYNTH, "synth")
    return (_pitch(excerpt, shifted, synth), _player(excerpt, shifted, synth))


def _pitch(excerpt: Excerpt, shifted: Heard, synth: Heard) -> StepDraft:
    cents = [Reading(f"off the fifth, {h.name}", _off_cents(excerpt, h), "cents") for h in (shifted, synth)]
    colour = [
        Reading(f"distance from the horn's spectrum, {h.name}", _distance_db(excerpt, h), "dB")
        for h in (shifted, synth)
    ]
    return StepDraft(
        heading="One note, two makers",
        does=(
            "Both follow your pitch and play a fifth above it. The shifter takes your own wave and plays it higher; "
            "the synth makes a wave of its own and takes only pitch and level from you."
        ),
        heard=(excerpt.dry, shifted, synth),
        claims=(
            compared(
                cents[0], cents[1], least=5.0, expects="same",
                more="The synth is {difference} further off the fifth than the shifted horn: {second}, {first}.",
                less="The synth is {difference} nearer to the fifth than the shifted horn ({second} against {first}).",
                same="Both are in tune: on steady notes the shifted horn is {first} off the fifth, the synth {second}.",
            ),
            compared(
                colour[0], colour[1], least=0.5, expects="more",
                more="In its colour the synth is {difference} further from your horn: {second} against {first}.",
                less="In its colour the synth is {difference} nearer to your horn: {second} against {first}.",
                same="In their colour both are as far from your horn: {first} and {second}.",
            ),
        ),
        listen_for="Does the voice have your reed, lips and breath in it, or somebody else's?",
        question="You change your mouthpiece. Which of the two voices changes with it?",
        answer=(
            "The shifted one: it is made of your own wave, so your tone is in it, at "
            f"{colour[0].text} from the horn's spectrum. The synth keeps its own tone whatever you play, "
            f"{colour[1].text} away; only your pitch and level reach it."
        ),
        picture=spectrum_picture(
            (excerpt.dry, shifted, synth),
            f"Spectra of the horn and both voices. The shifted horn lies {colour[0].text} from the horn's spectrum, "
            f"the synth {colour[1].text}.",
        ),
    )  # fmt: skip


def _player(excerpt: Excerpt, shifted: Heard, synth: Heard) -> StepDraft:
    chord = [
        excerpt.through(sketch.replace('chain = ["voice"]', WITH_HORN), name)
        for sketch, name in ((SHIFTED, "horn and shifted horn"), (SYNTH, "horn and synth"))
    ]
    breath = [Reading(f"first 20 ms of notes, {h.name}", _first_db(excerpt, h), "dB") for h in (shifted, synth)]
    return StepDraft(
        heading="The voice beside the horn",
        does=(
            "Now each voice sounds under the horn, as on a stage. "
            f"The shifted horn comes {amount(1000.0 * shifted.latency_s, 'ms', 0)} after you, as it needs to have "
            f"heard a few waves; the synth {amount(1000.0 * synth.latency_s, 'ms', 0)}, but it waits until it knows "
            "the pitch."
        ),
        heard=tuple(chord),
        claims=(
            compared(
                breath[0], breath[1], least=3.0, expects="less",
                more="At the beginning of the notes the synth has {difference} more than the shifted horn.",
                less="At the beginning of the notes the synth has {difference} less: tongue and breath are not in it.",
                same="At the beginning of the notes both are as strong.",
            ),
        ),
        listen_for="Two players in one section, or one player and an organ?",
        question="Fast tonguing, and you want the voice to speak with you. Which one?",
        answer=(
            "The shifted horn: it passes your tongue and breath as they are, and only the tone is moved. In the first "
            f"20 ms of the notes it stands at {breath[0].text} against its own body, the synth at {breath[1].text}. "
            "For a pad or a lead that is clearly not a horn, take the synth."
        ),
        picture=level_picture(
            (shifted, synth),
            f"Level over time of both voices alone. In their first 20 ms notes stand at {breath[0].text} and "
            f"{breath[1].text} against their body.",
        ),
    )  # fmt: skip


def _off_cents(excerpt: Excerpt, heard: Heard) -> float:
    """How far the voice is off its interval: median over the steady moments; NaN if there are none."""
    time_s, horn_hz = _steady(excerpt)
    aim_hz = horn_hz * 2.0 ** (SEMITONES / 12.0)
    found_hz = fundamental_hz(heard.mono, heard.sample_rate_hz, time_s, aim_hz, 0.05)
    cents = np.abs(1200.0 * np.log2(found_hz / aim_hz))
    return float(np.median(cents[np.isfinite(cents)])) if np.isfinite(cents).any() else math.nan


def _steady(excerpt: Excerpt) -> tuple[Array, Array]:
    """Moments of steady notes, and the horn's pitch at them."""
    notes = find_steady_notes(excerpt.audio, excerpt.sample_rate_hz, RANGE_HZ)
    at = [np.arange(n.steady_first, n.steady_last) for n in notes.notes if n.steady]
    moments = np.concatenate([np.zeros(0, np.int64), *at])[::2]
    return notes.time_s[moments], notes.f0_hz[moments]


def _distance_db(excerpt: Excerpt, heard: Heard) -> float:
    """Log-spectral distance of the voice from the horn, brought to the horn's power."""
    horn, voice = excerpt.dry.mono, heard.mono
    power = float(np.sum(voice * voice))
    if power == 0.0:
        return math.nan
    gain = math.sqrt(float(np.sum(horn * horn)) / power)
    return log_spectral_distance_db(horn, voice * gain, heard.sample_rate_hz)


def _first_db(excerpt: Excerpt, heard: Heard) -> float:
    """Level of the first 20 ms of tongued notes against what follows in their first quarter second."""
    first, body = [], []
    for begin_s in note_begins_s(excerpt):
        begin, then, end = (round((begin_s + s) * heard.sample_rate_hz) for s in (0.0, FIRST_S, 0.25))
        first.append(heard.mono[begin:then])
        body.append(heard.mono[then:end])
    if not first:
        return math.nan
    power = [float(np.mean(np.square(np.concatenate(parts)))) for parts in (first, body)]
    return 10.0 * math.log10(power[0] / power[1]) if min(power) > 0.0 else math.nan


COURSE = Course(
    key="shifted-horn-or-synth",
    title="A shifted horn or a synth",
    asks="The same second voice: made of your own sound, or made afresh. What is the difference?",
    take="ropewalk_trumpet",
    steps=steps,
    sources=(
        "Distance of spectra: A. H. Gray, J. D. Markel, \u201cDistance measures for speech processing\u201d, "
        "IEEE Trans. ASSP 24(5), 1976.",
    ),
)
