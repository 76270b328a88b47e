"""Loudness fools the ear: the louder of two equal sounds seems the better one."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.lessons.claims import Reading, compared, what_is_left
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture, spectrum_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import brightness_hz, difference_db, loudness_lufs, peak_dbfs

LIFT_DB, OUT_DB = 2.0, 3.0
WARM = """
title = "warm box"
chain = ["warm"]

[blocks.warm]
type = "drive"
drive_db = 9
tone_hz = 7000
wet_db = {out_db}
"""
TURNED_UP, AS_LOUD = WARM.format(out_db=OUT_DB), WARM.format(out_db=0.0)


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Three steps."""
    plain = excerpt.dry.raised(-6.0, "the first")
    warm = excerpt.through(TURNED_UP, "with the box")
    level = excerpt.through(AS_LOUD, "with the box at 0 dB")
    return (_same(plain), _box(excerpt.dry, warm, level), _fair(excerpt.dry, warm))


def _same(plain: Heard) -> StepDraft:
    louder = plain.raised(LIFT_DB, "the second")
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (plain, louder)]
    left = what_is_left(
        "what differs once the gain is taken back", difference_db(plain, louder.raised(-LIFT_DB, "back"))
    )
    return StepDraft(
        heading="Two boxes, one of them better",
        does="Go to and fro between these two, and choose the one with more life. Only then read on.",
        heard=(plain, louder),
        claims=(
            compared(
                loud[0], loud[1], least=0.5, expects="more",
                more="The second is {difference} louder.",
                less="The second is {difference} quieter.",
                same="They are equally loud.",
            ),
            compared(
                Reading("a difference nobody hears", -60.0, "dB", 0), left, least=1e-9, expects="less",
                more="Beside that they differ by {second}.",
                less="Nothing else was done to it: once the gain is taken back, {second} are left.",
                same="Beside that they differ by {second}.",
            ),
        ),
        listen_for="Which of them has more body, more air, more horn?",
        question="What did the better one do to your sound?",
        answer=(
            f"It turned it up by {LIFT_DB:g} dB, and did nothing else. So small a change is easily "
            "taken for a fuller, nearer tone, for the ear takes in the lows better when it is louder."
        ),
        picture=level_picture((plain, louder), f"Level over time of both: {loud[0].text} and {loud[1].text}."),
        levels="as it comes",
    )  # fmt: skip


def _box(dry: Heard, warm: Heard, level: Heard) -> StepDraft:
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (dry, warm, level)]
    peak = [Reading(f"peak, {h.name}", peak_dbfs(h), "dBFS") for h in (dry, warm, level)]
    over_peaks = [
        Reading(f"peak over loudness, {h.name}", p.value - v.value, "dB")
        for h, p, v in zip((dry, warm), peak[:2], loud[:2], strict=True)
    ]
    return StepDraft(
        heading="A box that warms, as it comes",
        does=(
            f"This box rounds the wave off a little, and its output is turned up by {OUT_DB:g} dB. "
            "The sounds are as loud as they come out of the chain."
        ),
        heard=(dry, warm, level),
        claims=(
            compared(
                loud[0], loud[1], least=0.5, expects="more",
                more="With the box it is {difference} louder.",
                less="With the box it is {difference} quieter.",
                same="With the box it is as loud as without.",
            ),
            compared(
                loud[0], loud[2], least=0.5, expects="less",
                more="With its output at 0 dB it would be {difference} louder than the horn all the same.",
                less="With its output at 0 dB it would be {difference} quieter than the horn: it is the output that "
                "makes it louder, not the rounding.",
                same="With its output at 0 dB it would be as loud as the horn.",
            ),
            compared(
                over_peaks[0], over_peaks[1], least=0.5, expects="less",
                more="Its peaks stand {difference} higher over its loudness.",
                less="Its peaks stand {difference} lower over its loudness: there is more sound under the same peak.",
                same="Its peaks stand as high over its loudness as before.",
            ),
        ),
        listen_for="Your liking: how sure are you that you would buy the box?",
        question=(
            f"A meter of peaks reads {peak[0].text} without the box and {peak[1].text} with it, a meter of loudness "
            f"{loud[0].text} and {loud[1].text}. Why do they not agree?"
        ),
        answer=(
            "Because loudness is not the peak. What is rounded off are the tops of the wave: with the output at 0 dB, "
            f"the box moves the peaks from {peak[0].text} to {peak[2].text}, and the loudness from {loud[0].text} "
            f"only to {loud[2].text}. That leaves room to turn it up by {OUT_DB:g} dB, to {loud[1].text}, under peaks "
            f"of {peak[1].text}."
        ),
        picture=level_picture(
            (dry, warm, level),
            f"Level over time: {loud[0].text} without the box, {loud[1].text} with it, {loud[2].text} with it at 0 dB.",
        ),
        levels="as it comes",
    )  # fmt: skip


def _fair(dry: Heard, warm: Heard) -> StepDraft:
    trimmed = warm.raised(loudness_lufs(dry) - loudness_lufs(warm), "with the box, trimmed")
    loud = [Reading(f"loudness, {h.name}", loudness_lufs(h), "LUFS") for h in (dry, trimmed)]
    bright = [Reading(f"brightness, {h.name}", brightness_hz(h), "Hz", 0) for h in (dry, trimmed)]
    return StepDraft(
        heading="The same box at one loudness",
        does=(
            "The same two once more, the box turned down until both are equally loud. "
            "What you hear now is what the box does to the tone."
        ),
        heard=(dry, trimmed),
        claims=(
            compared(
                loud[0], loud[1], least=0.1, expects="same",
                more="It is still {difference} louder.",
                less="It is now {difference} quieter.",
                same="Both have {first}.",
            ),
            compared(
                bright[0], bright[1], least=50.0, expects="same",
                more="What is left to hear: the middle of its spectrum lies {difference} higher.",
                less="What is left to hear: the middle of its spectrum lies {difference} lower.",
                same="Little is left to hear: the middle of the spectrum lies at {second}, without the box at {first}.",
            ),
        ),
        listen_for="The same notes as before. Do you still want the box?",
        question="How do you compare two boxes in your own room?",
        answer=(
            "Bring them to one loudness before you listen, by ear or better by meter, and let somebody else switch. "
            "All pages of chainsim begin at one loudness for this reason."
        ),
        picture=spectrum_picture(
            (dry, trimmed),
            f"Spectra at one loudness: the middle lies at {bright[0].text} without and {bright[1].text} with the box.",
        ),
    )  # fmt: skip


COURSE = Course(
    key="loudness-fools-the-ear",
    title="Loudness fools the ear",
    asks="Which of two boxes sounds better, and is it better or only louder?",
    take="lantern_waltz_alto_sax",
    steps=steps,
    sources=(
        "Loudness is measured as ITU-R BS.1770-5 says. That the lows gain most where it gets louder: "
        "ISO 226:2003, equal-loudness contours. That sounds are to be equally loud before they are judged: "
        "ITU-R BS.1116-3.",
    ),
)
