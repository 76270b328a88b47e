"""Why a blend keeps the horn in front: what an effect takes away, the dry path still has."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.lessons.claims import Reading, compared
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import beginnings_db, horn_share_percent, loudness_lufs

ATTACK_S = 0.03

SWEEP = """
[blocks.sweep]
type = "envelope_filter"
response = "low pass"
sweep_low_hz = 150
sweep_high_hz = 1500
attack_ms = 90
q = 5
"""
ALONE = 'title = "filter alone"\nchain = ["sweep"]\n' + SWEEP
BLEND = (
    'title = "blended"\nchain = [{ blender = "mix", wet = ["sweep"] }]\n'
    + SWEEP
    + """
[blocks.mix]
type = "blender"
dry_db = -3
wet_db = -3
"""
)
TURNED = BLEND.replace('type = "blender"', 'type = "blender"\nflip_wet = true')


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Two steps."""
    alone, blend = excerpt.through(ALONE, "filter alone"), excerpt.through(BLEND, "blended")
    return (_front(excerpt, alone, blend), _polarity(excerpt, blend))


def _front(excerpt: Excerpt, alone: Heard, blend: Heard) -> StepDraft:
    share = [
        Reading(f"horn as it was played, {h.name}", horn_share_percent(excerpt.dry, h), "%", 0) for h in (alone, blend)
    ]
    start = [
        Reading(f"beginnings of notes, {h.name}", beginnings_db(excerpt, h, ATTACK_S), "dB") for h in (alone, blend)
    ]
    return StepDraft(
        heading="The filter alone, and the filter beside the horn",
        does=(
            "A filter that opens slowly swallows the tongue and most of what is bright. "
            "The blender sends the horn around it and adds both, 3 dB down each."
        ),
        heard=(excerpt.dry, alone, blend),
        claims=(
            compared(
                share[0], share[1], least=3.0, expects="more",
                more="Blended, {second} of the sound is the horn as you played it; of the filter alone it is {first}.",
                less="Blended, only {second} of the sound is the horn as you played it; of the filter alone {first}.",
                same="The horn has the same share of both: {second}.",
            ),
            compared(
                start[0], start[1], least=1.0, expects="more",
                more="The first 30 ms of the notes stand {difference} higher against the rest of the note: "
                "the tongue is back.",
                less="The first 30 ms of the notes stand {difference} lower against the rest of the note.",
                same="The beginnings of the notes are as strong in both.",
            ),
        ),
        listen_for="The tongue at the beginning of each note: can you count the notes?",
        question="The filter does exactly the same in both. Where does the blend get the tongue from?",
        answer=(
            "From the path around the filter: it is never late and never dark. So the ear finds the beginning of "
            f"every note ({start[1].text} against the note's body, {start[0].text} without the blend), and takes what "
            "follows for a colour of the same horn."
        ),
        picture=spectrum_picture(
            (excerpt.dry, alone, blend),
            f"Spectra of the horn, the filter alone and the blend. The horn has {share[0].text} of the filter's sound "
            f"and {share[1].text} of the blend.",
        ),
    )  # fmt: skip


def _polarity(excerpt: Excerpt, blend: Heard) -> StepDraft:
    turned = excerpt.through(TURNED, "blended, polarity turned")
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (blend, turned)]
    return StepDraft(
        heading="The same blend with its polarity turned",
        does=(
            "Two paths that carry the same wave add up; turn one of them over, and they take from each other. "
            "Here the wet path is turned, and nothing else."
        ),
        heard=(blend, turned),
        claims=(
            compared(
                loud[0], loud[1], least=0.5, expects="less",
                more="Turned over, the blend is {difference} louder.",
                less="Turned over, the blend is {difference} quieter, though every level is the same.",
                same="Turned over, the blend is as loud as before.",
            ),
        ),
        listen_for="The body of the low notes: does one of the two sound hollow?",
        question="A blend on your board sounds thin. What do you try first, and what does it cost?",
        answer=(
            "Turn over the polarity of the wet path: it costs nothing and changes neither box. "
            f"Here it makes {loud[0].text} of {loud[1].text}. Keep what is fuller."
        ),
        picture=level_picture(
            (blend, turned), f"Level over time: {loud[0].text} as it is, {loud[1].text} with the wet path turned."
        ),
        levels="as it comes",
    )  # fmt: skip


COURSE = Course(
    key="why-a-blend-keeps-the-horn",
    title="Why a blend keeps the horn in front",
    asks="The effect is the same. Why can one hear the player in the blend, and not in the effect alone?",
    take="low_water_tenor_sax",
    steps=steps,
)
