"""Drive before or after a filter: only one of the two makes partials that were not there."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.lessons.claims import Reading, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt
from chainsim.listen.lessons.measures import brightness_hz, level_over_db, loudness_lufs

OVER_HZ = 2500.0

BOXES = """
[blocks.grit]
type = "drive"
shape = "{shape}"
drive_db = 28
tone_hz = 18000

[blocks.shade]
type = "equalizer"
bands = [{{ shape = "low_pass", freq_hz = 900 }}]
"""
DRIVE_FIRST = 'title = "drive, then filter"\nchain = ["grit", "shade"]\n' + BOXES.format(shape="soft")
FILTER_FIRST = 'title = "filter, then drive"\nchain = ["shade", "grit"]\n' + BOXES.format(shape="soft")

CLEAN = """
[blocks.shade]
type = "equalizer"
bands = [{ shape = "low_pass", freq_hz = 900 }]

[blocks.up]
type = "gain"
gain_db = 6
"""
CLEAN_FIRST = 'title = "gain, then filter"\nchain = ["up", "shade"]\n' + CLEAN
CLEAN_LAST = 'title = "filter, then gain"\nchain = ["shade", "up"]\n' + CLEAN


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Two steps."""
    return (_drive(excerpt), _gain(excerpt))


def _drive(excerpt: Excerpt) -> StepDraft:
    first, last = (
        excerpt.through(DRIVE_FIRST, "drive, then filter"),
        excerpt.through(FILTER_FIRST, "filter, then drive"),
    )
    high = [Reading(f"over 2.5 kHz, {h.name}", level_over_db(h, OVER_HZ), "dB") for h in (first, last)]
    bright = [Reading(f"brightness, {h.name}", brightness_hz(h), "Hz", 0) for h in (first, last)]
    return StepDraft(
        heading="The same two boxes, changed over",
        does=(
            "The drive bends the wave and so makes partials above those of the horn. The filter takes away "
            "what lies over 900 Hz: behind the drive also the new partials, before it only the horn's own."
        ),
        heard=(first, last),
        claims=(
            compared(
                high[0], high[1], least=1.0, expects="more",
                more="With the drive last, {difference} more lies over 2.5 kHz.",
                less="With the drive last, {difference} less lies over 2.5 kHz.",
                same="Over 2.5 kHz lies the same in both.",
            ),
            compared(
                bright[0], bright[1], least=50.0, expects="more",
                more="The spectrum's middle lies {difference} higher with the drive last: {second} against {first}.",
                less="The spectrum's middle lies {difference} lower with the drive last: {second} against {first}.",
                same="The middle of the spectrum is the same in both: {second}.",
            ),
        ),
        listen_for="Which one sounds round like a muted horn, and which one still rasps?",
        question="You want the rasp, but not the hiss of breath and keys in it. Which order?",
        answer=(
            "Filter, then drive: what of breath and keys lies over 900 Hz hardly reaches the drive, and the "
            f"rasp is made afresh behind it. Over 2.5 kHz that leaves {high[1].text} of the whole; with the filter "
            f"last it is {high[0].text}."
        ),
        picture=spectrum_picture(
            (excerpt.dry, first, last),
            f"Spectra. Over 2.5 kHz lies {high[0].text} of the sound with the filter last, {high[1].text} with the "
            "drive last.",
        ),
    )  # fmt: skip


def _gain(excerpt: Excerpt) -> StepDraft:
    first, last = excerpt.through(CLEAN_FIRST, "gain, then filter"), excerpt.through(CLEAN_LAST, "filter, then gain")
    high = [Reading(f"over 2.5 kHz, {h.name}", level_over_db(h, OVER_HZ), "dB") for h in (first, last)]
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (first, last)]
    return StepDraft(
        heading="A clean gain in the drive's place",
        does=(
            "Now a clean gain of 6 dB stands where the drive stood. It bends nothing: it only multiplies. "
            "The filter is as before."
        ),
        heard=(first, last),
        claims=(
            compared(
                high[0], high[1], least=0.1, expects="same",
                more="With the gain last, {difference} more lies over 2.5 kHz.",
                less="With the gain last, {difference} less lies over 2.5 kHz.",
                same="Over 2.5 kHz lies the same in both orders: {first} of the whole.",
            ),
            compared(
                loud[0], loud[1], least=0.1, expects="same",
                more="With the gain last it is {difference} louder.",
                less="With the gain last it is {difference} quieter.",
                same="They are equally loud: {first}.",
            ),
        ),
        listen_for="A difference: there should be none.",
        question="When does the order of two boxes matter?",
        answer=(
            "When at least one of them does more than add and multiply evenly: when it bends (a drive), when it "
            "follows the level (a gate, a compressor), or when it moves with time (a chorus). Two that only filter, "
            "delay or scale can change places."
        ),
        picture=spectrum_picture(
            (first, last), f"Spectra of both orders. Over 2.5 kHz lie {high[0].text} and {high[1].text} of the whole."
        ),
    )  # fmt: skip


COURSE = Course(
    key="drive-and-filter",
    title="Drive before or after the filter",
    asks="Two boxes, two orders: why does one rasp and the other not?",
    take="ropewalk_trumpet",
    steps=steps,
    sources=(
        "A drive makes partials that were not there, since it is not linear; filters and gains are, and may change "
        "places: J. O. Smith III, Introduction to Digital Filters, \u201cLinear Time-Invariant Filters\u201d.",
    ),
)
