"""Where the envelope detector listens: what moves a filter or a gate need not be what goes through it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chainsim.listen.lessons.claims import Reading, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import levels_dbfs, rest_level_dbfs

SOUNDING_DB = 25.0
"""Of the take's loudest 20 ms: what lies less far under it is playing."""

SWEEP = """
chain = ["squeeze", "sweep"]

[blocks.squeeze]
type = "compressor"
threshold_db = -34
ratio = 20
attack_ms = 1
release_ms = 60
make_up_db = 14

[blocks.sweep]
type = "envelope_filter"
sensitivity_db = 6
sweep_low_hz = 300
sweep_high_hz = 4000
{listens}
"""
SWEEP_NEAR = 'title = "listens behind the compressor"' + SWEEP.format(listens="")
SWEEP_HORN = 'title = "listens to the horn"' + SWEEP.format(listens='listens_to = "input"')

GATE = """
chain = ["echo", "gate"]

[blocks.echo]
type = "delay"
time_ms = 130
feedback_percent = 55
wet_db = -4

[blocks.gate]
type = "noise_gate"
threshold_db = -40
hold_ms = 30
release_ms = 40
{listens}
"""
GATE_NEAR = 'title = "gate hears the echoes"' + GATE.format(listens="")
GATE_HORN = 'title = "gate hears the horn"' + GATE.format(listens='listens_to = "input"')


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Two steps."""
    return (_sweep(excerpt), _gate(excerpt))


def _sweep(excerpt: Excerpt) -> StepDraft:
    near = excerpt.through(SWEEP_NEAR, "it hears the compressor", ["sweep:cutoff_hz"])
    horn = excerpt.through(SWEEP_HORN, "it hears the horn", ["sweep:cutoff_hz"])
    way = [Reading(f"way of the cutoff, {h.name}", _way_octaves(excerpt, h), "octaves") for h in (near, horn)]
    return StepDraft(
        heading="A filter that your playing opens",
        does=(
            "A compressor makes every note about as loud as the next; behind it stands a filter that opens with the "
            "level. In one chain the filter measures what comes out of the compressor, in the other the horn."
        ),
        heard=(near, horn),
        claims=(
            compared(
                way[0], way[1], least=0.2, expects="more",
                more="While you play, the filter's cutoff moves over {second} when it listens to the horn, "
                "but over {first} behind the compressor.",
                less="While you play, the filter's cutoff moves over only {second} when it listens to the horn, "
                "and over {first} behind the compressor.",
                same="The cutoff moves as far in both: {second}.",
            ),
        ),
        listen_for="Loud and soft notes: which of the two opens further for the loud ones?",
        question="Nobody took the compressor out. How can the filter know how loud you played?",
        answer=(
            "Its detector has an ear of its own: it measures the horn before the compressor, and moves the filter "
            f"behind it. That is why the cutoff moves over {way[1].text} and not only over {way[0].text}."
        ),
        picture=spectrum_picture(
            (near, horn),
            f"Spectra of both. The cutoff moves over {way[0].text} behind the compressor, over {way[1].text} when it "
            "listens to the horn.",
        ),
    )  # fmt: skip


def _gate(excerpt: Excerpt) -> StepDraft:
    near, horn = excerpt.through(GATE_NEAR, "gate hears the echoes"), excerpt.through(GATE_HORN, "gate hears the horn")
    left = [
        Reading(f"level at the ends of the rests, {h.name}", rest_level_dbfs(excerpt, h), "dBFS") for h in (near, horn)
    ]
    return StepDraft(
        heading="A gate behind an echo",
        does=(
            "The gate stands behind the echo. If it measures what reaches it, every echo holds it open; "
            "if it measures the horn, it shuts when you stop, and cuts the echoes off."
        ),
        heard=(near, horn),
        claims=(
            compared(
                left[0], left[1], least=3.0, expects="less",
                more="With the ear at the horn, the rests end {difference} louder.",
                less="With the ear at the horn, the rests end {difference} quieter: the echoes are cut off.",
                same="The rests end at the same level in both.",
            ),
        ),
        listen_for="The ends of the phrases: do the echoes die away, or stop with your breath?",
        question="You want the hiss gone and the echoes kept. Where does the gate stand, and where does it listen?",
        answer=(
            "Put it before the echo; then it may listen to what reaches it. Behind the echo you choose between two "
            f"evils: echoes that hold it open ({left[0].text} at the ends of the rests) or echoes cut off "
            f"({left[1].text})."
        ),
        picture=level_picture(
            (near, horn),
            f"Level over time. The rests end at {left[0].text} where the gate hears the echoes, at {left[1].text} "
            "where it hears the horn.",
        ),
    )  # fmt: skip


def _way_octaves(excerpt: Excerpt, heard: Heard) -> float:
    """How far the cutoff moves while there is playing: from the 10th to the 90th percentile."""
    times, level = levels_dbfs(excerpt.dry)
    playing = times[level > np.max(level) - SOUNDING_DB]
    cutoff = heard.readings["sweep:cutoff_hz"][(playing * heard.sample_rate_hz).astype(np.int64)]
    low, high = np.percentile(np.log2(np.maximum(cutoff, 1.0)), (10.0, 90.0))
    return float(high - low)


COURSE = Course(
    key="where-the-detector-listens",
    title="Where the detector listens",
    asks="A gate and a moving filter follow a level. The level of what?",
    take="ropewalk_trumpet",
    steps=steps,
)
