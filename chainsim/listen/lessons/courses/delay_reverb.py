"""Delay into reverb against reverb into delay: the same while both only add, two sounds with a drive between."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.lessons.claims import Reading, compared, what_is_left
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt
from chainsim.listen.lessons.measures import brightness_hz, difference_db, loudness_lufs, ringing_level_dbfs

JUST_HEARD_DB = -40.0
"""A difference further under the sound than this is covered by it."""

BOXES = """
[blocks.echo]
type = "delay"
time_ms = 360
feedback_percent = 45
wet_db = -5

[blocks.hall]
type = "reverb"
decay_s = 1.8
wet_db = -8
modulation = {modulation}
"""
STILL, MOVING = (BOXES.format(modulation=share) for share in (0.0, 0.5))
DRIVE = """
[blocks.grit]
type = "drive"
drive_db = 24
"""
ECHO_FIRST = 'title = "echo, then hall"\nchain = ["echo", "hall"]\n' + STILL
HALL_FIRST = 'title = "hall, then echo"\nchain = ["hall", "echo"]\n' + STILL
ECHO_MOVING = 'title = "echo, then a hall that moves"\nchain = ["echo", "hall"]\n' + MOVING
HALL_MOVING = 'title = "a hall that moves, then echo"\nchain = ["hall", "echo"]\n' + MOVING
ECHO_GRIT = 'title = "echo, drive, hall"\nchain = ["echo", "grit", "hall"]\n' + STILL + DRIVE
HALL_GRIT = 'title = "hall, drive, echo"\nchain = ["hall", "grit", "echo"]\n' + STILL + DRIVE


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Three steps."""
    return (_clean(excerpt), _moving(excerpt), _driven(excerpt))


def _clean(excerpt: Excerpt) -> StepDraft:
    first, last = excerpt.through(ECHO_FIRST, "echo, then hall"), excerpt.through(HALL_FIRST, "hall, then echo")
    left = what_is_left("what is left of one without the other", difference_db(first, last))
    rests = [Reading(f"level in the rests, {h.name}", ringing_level_dbfs(excerpt, h), "dBFS") for h in (first, last)]
    return StepDraft(
        heading="Echo and hall change places",
        does=(
            "In one chain the echoes go into the hall; in the other the hall goes into the echo, so that the whole "
            "hall comes back again and again. Players quarrel about which is right."
        ),
        heard=(first, last),
        claims=(
            compared(
                Reading("covered by the sound itself", JUST_HEARD_DB, "dB", 0), left, least=1e-9, expects="less",
                more="The two differ: what is left of one without the other is {second} beside the sound.",
                less="They are as good as one sound: what is left of one without the other is {second} beside it.",
                same="The two differ by {second}.",
            ),
            compared(
                rests[0], rests[1], least=0.5, expects="same",
                more="With the hall first, {difference} more rings on in the rests.",
                less="With the hall first, {difference} less rings on in the rests.",
                same="As much rings on in the rests in both: {first}.",
            ),
        ),
        listen_for="Choose the one you like better, then try to find it again with your eyes shut.",
        question="An echo of a hall, or a hall of echoes: why are they the same?",
        answer=(
            "Each box only copies, delays and adds. Every copy that the one makes is copied by the other, and it does "
            f"not matter who copied first: what is left of one without the other is {left.text} beside it. "
            "They part as soon as something between them bends the wave, follows the level or moves."
        ),
        picture=level_picture(
            (first, last), f"Level over time: in the rests one lies at {rests[0].text}, the other at "
            f"{rests[1].text}.",
        ),
    )  # fmt: skip


def _moving(excerpt: Excerpt) -> StepDraft:
    first = excerpt.through(ECHO_MOVING, "echo, then a hall that moves")
    last = excerpt.through(HALL_MOVING, "a hall that moves, then echo")
    left = what_is_left("what is left of one without the other", difference_db(first, last))
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (first, last)]
    bright = [Reading(f"brightness, {h.name}", brightness_hz(h), "Hz", 0) for h in (first, last)]
    return StepDraft(
        heading="A hall that moves",
        does=(
            "Most reverbs stir their paths a little, so that none of them whistles. An echo of what was stirred a "
            "moment ago is not what is stirred now: the two orders are two waves."
        ),
        heard=(first, last),
        claims=(
            compared(
                Reading("covered by the sound itself", JUST_HEARD_DB, "dB", 0), left, least=1e-9, expects="more",
                more="The waves differ: what is left of one without the other is {second} beside it.",
                less="The waves are as good as one: what is left of one is {second} beside it.",
                same="The two differ by {second}.",
            ),
            compared(
                loud[0], loud[1], least=0.5, expects="same",
                more="With the hall first it is {difference} louder.",
                less="With the hall first it is {difference} quieter.",
                same="Yet they are equally loud within half a unit: {first} and {second}.",
            ),
            compared(
                bright[0], bright[1], least=30.0, expects="same",
                more="With the hall first it is brighter, by {difference}.",
                less="With the hall first it is darker, by {difference}.",
                same="And they are equally bright: {first} and {second}.",
            ),
        ),
        listen_for="A moment where you could say which of the two it is. Can you find one?",
        question="The waves differ, and loudness and brightness do not. Would an audience notice?",
        answer=(
            f"Hardly: both are the same hall at {loud[0].text} and {loud[1].text}, stirred otherwise. A difference "
            f"of waves ({left.text}) need not be a difference to the ear. Decide by what is easier to operate: "
            "an echo that you switch off behind the hall cuts the hall's echoes too."
        ),
        picture=spectrum_picture(
            (first, last), f"Spectra of both orders; their middles lie at {bright[0].text} and {bright[1].text}."
        ),
    )  # fmt: skip


def _driven(excerpt: Excerpt) -> StepDraft:
    first, last = excerpt.through(ECHO_GRIT, "echo, drive, hall"), excerpt.through(HALL_GRIT, "hall, drive, echo")
    left = what_is_left("what is left of one without the other", difference_db(first, last))
    return StepDraft(
        heading="With a drive between them",
        does=(
            "Now a drive stands in the middle. In one chain it bends horn and echoes and the hall stays clean; "
            "in the other it bends the hall as well."
        ),
        heard=(first, last),
        claims=(
            compared(
                Reading("covered by the sound itself", JUST_HEARD_DB, "dB", 0), left, least=1e-9, expects="more",
                more="Now they are two sounds: what is left of one without the other is {second} beside it.",
                less="They are still as good as one sound: what is left is {second}.",
                same="The two differ by {second}.",
            ),
        ),
        listen_for="The hall behind the long notes: is it smooth, or does it crackle and grind?",
        question="You have one drive, one echo, one hall. Where does the drive go for a clean hall?",
        answer=(
            "Before the hall. What comes in front of a drive goes into it all together, and a drive makes new tones of "
            "every two that sound at once: a horn with its hall is many. "
            f"What is left of one order without the other is now {left.text}."
        ),
        picture=spectrum_picture(
            (first, last), f"Spectra of both. What is left of one without the other is {left.text} beside it."
        ),
    )  # fmt: skip


COURSE = Course(
    key="delay-and-reverb",
    title="Echo into hall, or hall into echo",
    asks="Does the order of delay and reverb matter, and if not, when does it begin to?",
    take="low_water_tenor_sax",
    steps=steps,
    sources=(
        "That two linear boxes which do not move may change places is the commutativity of convolution: "
        "J. O. Smith III, Introduction to Digital Filters, \u201cConvolution Representation\u201d.",
    ),
)
