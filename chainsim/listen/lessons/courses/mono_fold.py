"""A wide sound folded to mono: what was between the loudspeakers combs, or is gone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chainsim.listen.lessons.claims import Reading, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import loudness_lufs, ringing_level_dbfs, spectrum_db

LATE_MS = 2.0

WIDE = f"""
title = "wide by a late copy"
chain = [{{ lanes = [{{ chain = "dry", pan = -1 }}, {{ chain = ["late"], pan = 1 }}] }}]

[blocks.late]
type = "delay"
time_ms = {LATE_MS}
feedback_percent = 0
low_cut_hz = 10
high_cut_hz = 18000
dry_db = "off"
wet_db = 0
"""
CROSSED = """
title = "echoes that change sides"
chain = ["echo"]

[blocks.echo]
type = "delay"
time_ms = 340
feedback_percent = 45
stereo = "crossed"
wet_db = -4
"""


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Two steps."""
    return (_copy(excerpt), _echoes(excerpt))


def _copy(excerpt: Excerpt) -> StepDraft:
    wide = excerpt.through(WIDE, "in stereo")
    folded = _folded(wide)
    rough = [
        Reading(f"unevenness against the horn, {h.name}", _unevenness_db(excerpt, h), "dB") for h in (wide, folded)
    ]
    return StepDraft(
        heading="Wide by a late copy",
        does=(
            f"The horn goes to the left, a copy {LATE_MS:g} ms late to the right: on two loudspeakers it is wide. "
            "A house that runs in mono adds both sides into one."
        ),
        heard=(wide, folded),
        claims=(
            compared(
                rough[0], rough[1], least=1.0, expects="more",
                more="Folded to mono, the spectrum departs from the horn's by {second}, in stereo by {first}.",
                less="Folded to mono, the spectrum departs less from the horn's: by {second}, in stereo by {first}.",
                same="Folded to mono, the spectrum departs from the horn's as much as in stereo: by {second}.",
            ),
        ),
        listen_for="The colour: does the horn turn hollow and near in mono?",
        question="The sides are fine alone. Where does the hollow sound come from?",
        answer=(
            "From their sum: a copy that is late makes a comb where it meets the first one in one wire. "
            f"It lies {rough[1].text} off the horn's spectrum, and each side by itself {rough[0].text}. In the air "
            "they meet as well, in the middle seat at both ears; but there they come from two directions, the head "
            "shades one of them in the treble, and a seat further on the notches lie elsewhere. In mono all seats hear "
            "them. "
            "Lesson \u201cLatency and combing\u201d says where the notches lie."
        ),
        picture=spectrum_picture(
            (excerpt.dry, folded),
            f"Spectra of the horn and of the wide sound folded to mono, which departs from it by {rough[1].text}.",
        ),
    )  # fmt: skip


def _echoes(excerpt: Excerpt) -> StepDraft:
    wide = excerpt.through(CROSSED, "in stereo")
    folded = _folded(wide)
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (wide, folded)]
    rough = [
        Reading(f"unevenness against the horn, {h.name}", _unevenness_db(excerpt, h), "dB") for h in (wide, folded)
    ]
    ring = [Reading(f"level in the rests, {h.name}", ringing_level_dbfs(excerpt, h), "dBFS") for h in (wide, folded)]
    return StepDraft(
        heading="Wide by echoes that change sides",
        does=(
            "Here the width comes from echoes: the first on the left, the next on the right. "
            "What the sum brings together are two different moments of your playing, not one twice."
        ),
        heard=(wide, folded),
        claims=(
            compared(
                rough[0], rough[1], least=1.0, expects="same",
                more="Folded to mono, the spectrum departs {difference} more from the horn's.",
                less="Folded to mono, the spectrum departs {difference} less from the horn's.",
                same="Folded to mono, the colour stays: {second} from the horn's spectrum, {first} in stereo.",
            ),
            compared(
                ring[0], ring[1], least=1.0, expects="less",
                more="Folded to mono, {difference} more rings in the rests.",
                less="Folded to mono, {difference} less rings in the rests: by power, a sound that stood on one side "
                "only loses 3.0 dB.",
                same="Folded to mono, as much rings in the rests: {second}.",
            ),
            compared(
                loud[0], loud[1], least=1.0, expects="same",
                more="Folded to mono, it is {difference} louder.",
                less="Folded to mono, it is {difference} quieter.",
                same="Folded to mono, it keeps its loudness within 1 LU: {first} and {second}.",
            ),
        ),
        listen_for="What is missing in mono: the place of the echoes, or the echoes?",
        question="A hall plays in mono. Which of your stereo effects may stay?",
        answer=(
            "Those whose sides do different things at different times, such as echoes that change sides. "
            f"In the rests {ring[0].text} ring in stereo and {ring[1].text} in mono. What makes its width from late "
            "copies of the horn itself you leave out, or turn well down."
        ),
        picture=level_picture(
            (wide, folded), f"Level over time. In the rests {ring[0].text} ring in stereo, {ring[1].text} in mono."
        ),
    )  # fmt: skip


def _folded(wide: Heard) -> Heard:
    return Heard(
        "folded to mono", np.repeat(wide.mono[:, np.newaxis], 2, axis=1), wide.sample_rate_hz, 0.0, wide.sketch
    )


def _unevenness_db(excerpt: Excerpt, heard: Heard) -> float:
    """How unevenly sixths of an octave were raised and lowered against the horn, rms, where the horn has power.

    Of two sides, the more uneven one.
    """
    sides = [Heard(heard.name, side[:, np.newaxis], heard.sample_rate_hz) for side in heard.audio.T]
    return max(_side_unevenness_db(excerpt.dry, side) for side in sides)


def _side_unevenness_db(horn: Heard, side: Heard) -> float:
    _, horn_db = spectrum_db(horn)
    _, sound_db = spectrum_db(side)
    counts = horn_db > np.max(horn_db) - 40.0
    weights = 10.0 ** (horn_db[counts] / 20.0)
    change = (sound_db - horn_db)[counts]
    middle = float(np.average(change, weights=weights))
    return float(np.sqrt(np.average((change - middle) ** 2, weights=weights)))


COURSE = Course(
    key="folded-to-mono",
    title="A wide sound in a mono house",
    asks="The house adds left and right. What is left of your stereo?",
    take="lantern_waltz_alto_sax",
    steps=steps,
    sources=(
        "That each ear hears both loudspeakers, and that the head shades the treble: J. Blauert, Spatial Hearing, on "
        "summing localization.",
    ),
)
