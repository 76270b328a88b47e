"""A horn shifted up against a synth for the same voice: same pitch, another player."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from chainsim.listen.lessons.claims import Reading, amount, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import beginnings_db, speaks_after_ms
from chainsim.measure.fundamental import fundamental_hz
from chainsim.measure.spectral_distance import log_spectral_distance_db
from chainsim.measure.steady_notes import find_steady_notes
from chainsim.units import Array

SEMITONES, INTERVAL = 7, "P5 above"
RANGE_HZ = (100.0, 1200.0)
FIRST_S = 0.02
LEAST_MS = 5.0
"""Two voices that speak within so much of each other speak together."""

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
            "the synth makes a wave of its own and takes only pitch and level from you. Here both stand in time with "
            "the horn, so that you compare the tone alone; how late they come is the next step."
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
    real = shifted.as_late_as_it_comes, synth.as_late_as_it_comes
    late = [Reading(f"after your note, {h.name}", speaks_after_ms(excerpt, h), "ms", 0) for h in real]
    first = [Reading(f"first 20 ms of notes, {h.name}", beginnings_db(excerpt, h, FIRST_S), "dB") for h in real]
    return StepDraft(
        heading="The voice beside the horn",
        does=(
            "Now each voice sounds under the horn, as on a stage, and comes as late as it comes. The shifter has to "
            f"have heard a few waves: {amount(1000.0 * shifted.latency_s, 'ms', 0)}. The synth takes "
            f"{amount(1000.0 * synth.latency_s, 'ms', 0)}, but it waits until it knows the pitch."
        ),
        heard=tuple(chord),
        claims=(
            compared(
                late[0], late[1], least=LEAST_MS, expects="less",
                more="The synth speaks {second} after your note begins, {difference} later than the shifted horn.",
                less="The synth speaks {second} after your note begins, the shifted horn {first} after it.",
                same="Both voices speak as soon after your note begins: after {second}.",
            ),
            compared(
                first[0], first[1], least=3.0, expects="same",
                more="While you tongue, in the first 20 ms, the synth has {difference} more.",
                less="While you tongue, in the first 20 ms, the synth has {difference} less.",
                same="While you tongue, in the first 20 ms, both are about as strong: {first} and {second} against the "
                "note.",
            ),
        ),
        listen_for="Tongued notes: does the voice speak with you, or does it answer you?",
        question="Fast tonguing, and you want the voice to speak with you. Which one?",
        answer=_sooner(late[0], late[1]),
        picture=level_picture(
            real,
            f"Level over time of both voices alone, as late as they come: the shifted horn {late[0].text} after your "
            f"notes begin, the synth {late[1].text}.",
        ),
    )  # fmt: skip


def _sooner(shifted: Reading, synth: Reading) -> str:
    """Which voice speaks with the player, by what was measured."""
    told = f"after your note begins, the shifted horn speaks in {shifted.text}, the synth in {synth.text}"
    if math.isnan(shifted.value) or math.isnan(synth.value):
        return f"This take does not tell: {told}."
    soonest = min(shifted.value, synth.value)
    if abs(shifted.value - synth.value) < LEAST_MS:
        return f"Either: {told}. Choose by the tone."
    name = "synth" if synth.value == soonest else "shifted horn"
    return (
        f"The {name}: {told}. Sixteenths at 150 beats a minute are 100 ms apart. The other one you choose for its "
        "tone, and play it behind you: long notes, or an answer."
    )


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
