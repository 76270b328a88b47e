"""Series against parallel: in a row each box hears the one before, side by side each hears the horn."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.lessons.claims import Reading, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import horn_share_percent, level_over_db, ringing_level_dbfs
from chainsim.units import Array

BRIGHT_HZ = 1500.0

BOXES = """
[blocks.dark]
type = "equalizer"
bands = [{ shape = "low_pass", freq_hz = 500 }]

[blocks.echo]
type = "delay"
time_ms = 330
feedback_percent = 40
dry_db = "off"
wet_db = -3
"""
ROW = 'title = "in a row"\nchain = [{ lanes = ["dry", ["dark", "echo"]] }]\n' + BOXES
SIDE = 'title = "side by side"\nchain = [{ lanes = ["dry", "dark", "echo"] }]\n' + BOXES

SPACES = """
[blocks.echo]
type = "delay"
time_ms = 330
feedback_percent = 50
wet_db = -3
{dry}

[blocks.hall]
type = "reverb"
decay_s = 2.5
wet_db = -3
{dry}
"""
SPACES_ROW = 'title = "echo, then hall"\nchain = ["echo", "hall"]\n' + SPACES.format(dry="")
SPACES_SIDE = 'title = "echo beside hall"\nchain = [{ lanes = ["dry", "echo", "hall"] }]\n' + SPACES.format(
    dry='dry_db = "off"'
)


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Two steps."""
    return (_echoes(excerpt), _spaces(excerpt))


def _echoes(excerpt: Excerpt) -> StepDraft:
    row, side = excerpt.through(ROW, "in a row"), excerpt.through(SIDE, "side by side")
    echoes = {
        heard: excerpt.through(sketch.replace('"dry", ', ""), "echoes").mono
        for heard, sketch in (("row", ROW), ("side", SIDE.replace('"dark", ', "")))
    }
    bright = [
        Reading(
            f"what lies over 1.5 kHz in the echoes, {name}", level_over_db(_mono(excerpt, echoes[key]), BRIGHT_HZ), "dB"
        )
        for key, name in (("row", "in a row"), ("side", "side by side"))
    ]
    return StepDraft(
        heading="A dark filter and an echo",
        does=(
            "In a row, the echo hears what the filter left over. Side by side, filter and echo each hear the whole "
            "horn, and their sounds are added to it."
        ),
        heard=(row, side),
        claims=(
            compared(
                bright[0], bright[1], least=1.0, expects="more",
                more="Side by side, the echoes keep {difference} more of what lies over 1.5 kHz.",
                less="Side by side, the echoes keep {difference} less of what lies over 1.5 kHz.",
                same="The echoes are as bright in a row as side by side.",
            ),
        ),
        listen_for="The echoes in the rests: is it your horn that comes back, or a dull shadow of it?",
        question="You want bright echoes and a dark body under the horn. In a row, or side by side?",
        answer=(
            "Side by side. In a row everything that comes behind the filter is dark, whatever it is: over 1.5 kHz "
            f"the echoes hold {bright[0].text} there and {bright[1].text} side by side, beside their whole."
        ),
        picture=spectrum_picture(
            (_mono(excerpt, echoes["row"]).called("echoes in a row"),
             _mono(excerpt, echoes["side"]).called("echoes side by side")),
            f"Spectra of the echoes alone. Over 1.5 kHz lies {bright[0].text} of them in a row, "
            f"{bright[1].text} side by side.",
        ),
    )  # fmt: skip


def _spaces(excerpt: Excerpt) -> StepDraft:
    row, side = excerpt.through(SPACES_ROW, "echo, then hall"), excerpt.through(SPACES_SIDE, "echo beside hall")
    ringing = [Reading(f"level in the rests, {h.name}", ringing_level_dbfs(excerpt, h), "dBFS") for h in (row, side)]
    share = [
        Reading(f"horn as it was played, {h.name}", horn_share_percent(excerpt.dry, h), "%", 0) for h in (row, side)
    ]
    return StepDraft(
        heading="An echo and a hall",
        does=(
            "In a row, every echo goes into the hall as well and rings there again. "
            "Side by side, the hall answers the horn once, and the echoes stay clear."
        ),
        heard=(row, side),
        claims=(
            compared(
                ringing[0], ringing[1], least=0.5, expects="less",
                more="Side by side, {difference} more rings on in the rests.",
                less="Side by side, {difference} less rings on in the rests.",
                same="As much rings on in the rests in a row as side by side.",
            ),
            compared(
                share[0], share[1], least=1.0, expects="more",
                more="Side by side, {second} of the sound is the horn as you played it; in a row it is {first}.",
                less="Side by side, only {second} of the sound is the horn as you played it; in a row it is {first}.",
                same="The horn has the same share of the sound in both: {second}.",
            ),
        ),
        listen_for="The second and the third echo: do they have an edge, or have they become a cloud?",
        question="All levels are the same. Why does more ring on in a row?",
        answer=(
            "Because the hall gets more to ring with: the horn and all its echoes. In the rests that makes "
            f"{ringing[0].text} against {ringing[1].text}. If you want a row for its cloud, turn the hall down to "
            "keep the horn in front."
        ),
        picture=level_picture(
            (row, side),
            f"Level over time. In the rests the row lies at {ringing[0].text}, side by side at {ringing[1].text}.",
        ),
    )  # fmt: skip


def _mono(excerpt: Excerpt, audio: Array) -> Heard:
    return Heard("echoes", audio[:, None], excerpt.sample_rate_hz)


COURSE = Course(
    key="series-and-parallel",
    title="In a row or side by side",
    asks="What changes when two boxes both hear the horn, rather than one the other?",
    take="ropewalk_trumpet",
    steps=steps,
)
