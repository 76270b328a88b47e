"""Noise adds up along a chain: by power, and the first gain decides."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.lessons.claims import Reading, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture
from chainsim.listen.lessons.excerpt import Excerpt
from chainsim.listen.lessons.measures import loudness_lufs, rest_noise

HISS_DB, QUIETER_HISS_DB, GAIN_DB = -50.0, -58.0, 20.0

HISS = """
[blocks.{name}]
type = "noise"
level_db = {level_db}
"""


def _hissing(level_db: float, *names: str) -> str:
    return "".join(HISS.format(name=name, level_db=level_db) for name in names)


ONE = 'title = "one box"\nchain = ["first"]\n' + _hissing(HISS_DB, "first")
FOUR = 'title = "four boxes"\nchain = ["first", "second", "third", "fourth"]\n' + _hissing(
    HISS_DB, "first", "second", "third", "fourth"
)
QUIET = """
[blocks.quiet]
type = "gain"
gain_db = -20

[blocks.lift]
type = "gain"
gain_db = 20
"""
GAIN_FIRST = (
    'title = "gain, then the box"\nchain = ["quiet", "lift", "first"]\n' + QUIET + _hissing(QUIETER_HISS_DB, "first")
)
GAIN_LAST = (
    'title = "the box, then gain"\nchain = ["quiet", "first", "lift"]\n' + QUIET + _hissing(QUIETER_HISS_DB, "first")
)


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Two steps."""
    return (_sum(excerpt), _place(excerpt))


def _sum(excerpt: Excerpt) -> StepDraft:
    one, four = excerpt.through(ONE, "one box"), excerpt.through(FOUR, "four boxes")
    noise = [rest_noise(excerpt, h) for h in (one, four)]
    return StepDraft(
        heading="One box, four boxes",
        does=(
            "Every box here adds a hiss of its own, all at the same level. "
            "Hisses that know nothing of each other add their powers, not their waves."
        ),
        heard=(one, four),
        claims=(
            compared(
                noise[0], noise[1], least=2.0, expects="more",
                more="Four boxes make the rests {difference} noisier than one; by power, four of one make 6.0 dB.",
                less="Four boxes make the rests {difference} quieter than one.",
                same="Four boxes make the rests no noisier than one.",
            ),
        ),
        listen_for="The hiss in the rests: is it four times as loud to you?",
        question="You leave out one of two equal boxes. How much noise do you save?",
        answer=(
            "3 dB: half the power. Four boxes against one are 6 dB, "
            f"and {noise[1].text} against {noise[0].text} were measured in the rests. If one box hisses 10 dB more "
            "than the others, hardly any other counts: look for it first."
        ),
        picture=level_picture(
            (one, four), f"Level over time. In the rests one box leaves {noise[0].text}, four leave {noise[1].text}."
        ),
    )  # fmt: skip


def _place(excerpt: Excerpt) -> StepDraft:
    first, last = excerpt.through(GAIN_FIRST, "gain, then the box"), excerpt.through(GAIN_LAST, "the box, then gain")
    noise = [rest_noise(excerpt, h) for h in (first, last)]
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (first, last)]
    return StepDraft(
        heading="A quiet microphone",
        does=(
            f"A microphone that gives little needs {GAIN_DB:g} dB of gain. It can be turned up before the box that "
            "hisses or behind it."
        ),
        heard=(first, last),
        claims=(
            compared(
                noise[0], noise[1], least=3.0, expects="more",
                more="With the gain behind the box, the rests are {difference} noisier.",
                less="With the gain behind the box, the rests are {difference} quieter.",
                same="It makes no difference to the rests where the gain stands.",
            ),
            compared(
                loud[0], loud[1], least=0.5, expects="same",
                more="With the gain behind the box, the whole is {difference} louder.",
                less="With the gain behind the box, the whole is {difference} quieter.",
                same="The horn is as loud in both: {first} and {second}.",
            ),
        ),
        listen_for="The hiss between the notes, at the same loudness of the horn.",
        question="Where on the way from the horn to the loudspeaker do you turn up?",
        answer=(
            "As early as you can without clipping. What is turned up early lifts the horn over all the hiss that "
            f"follows; what is turned up late lifts the hiss along with it: {noise[1].text} against {noise[0].text}."
        ),
        picture=level_picture(
            (first, last), f"Level over time. In the rests {noise[0].text} are left with the gain first, "
            f"{noise[1].text} with it last.",
        ),
    )  # fmt: skip


COURSE = Course(
    key="noise-adds-up",
    title="Noise adds up along a chain",
    asks="Every box hisses a little. Which of them decides, and where do you turn up?",
    take="ropewalk_trumpet",
    steps=steps,
)
