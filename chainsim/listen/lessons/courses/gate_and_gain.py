"""Gate before or after the gain: a threshold is a level, and a gain moves what it is compared with."""

from __future__ import annotations

from collections.abc import Sequence

from chainsim.listen.lessons.claims import Reading, amount, compared, what_is_left
from chainsim.listen.lessons.course import Course, StepDraft
from chainsim.listen.lessons.curves import level_picture
from chainsim.listen.lessons.excerpt import Excerpt, Heard
from chainsim.listen.lessons.measures import difference_db, rest_noise

GAIN_DB, THRESHOLD_DB, HISS_DB = 18.0, -62.0, -64.0
THRESHOLD, RAISED_THRESHOLD, HISS = (amount(v, "", 0) for v in (THRESHOLD_DB, THRESHOLD_DB + GAIN_DB, HISS_DB))

GATE = """
[blocks.gate]
type = "noise_gate"
threshold_db = {threshold_db}
"""
LIFT = f"""
[blocks.lift]
type = "gain"
gain_db = {GAIN_DB}
"""
GATE_FIRST = 'title = "gate, then gain"\nchain = ["gate", "lift"]\n' + GATE.format(threshold_db=THRESHOLD_DB) + LIFT
GAIN_FIRST = 'title = "gain, then gate"\nchain = ["lift", "gate"]\n' + GATE.format(threshold_db=THRESHOLD_DB) + LIFT
RAISED = (
    'title = "gain, then a gate set for it"\nchain = ["lift", "gate"]\n'
    + GATE.format(threshold_db=THRESHOLD_DB + GAIN_DB)
    + LIFT
)
HISSING = f"""
[blocks.hiss]
type = "noise"
level_db = {HISS_DB}
"""
HISS_BEHIND = GATE_FIRST.replace('["gate", "lift"]', '["gate", "lift", "hiss"]') + HISSING
HISS_BEFORE = RAISED.replace('["lift", "gate"]', '["lift", "hiss", "gate"]') + HISSING


def steps(excerpt: Excerpt) -> Sequence[StepDraft]:
    """Three steps, on the take played in as much lower as the gain then lifts it."""
    excerpt = excerpt.raised(-GAIN_DB)
    gate_first = excerpt.through(GATE_FIRST, "gate, then gain")
    gain_first = excerpt.through(GAIN_FIRST, "gain, then gate")
    raised = excerpt.through(RAISED, "gain, then a gate set for it")
    behind = excerpt.through(HISS_BEHIND, "hiss behind the gate")
    before = excerpt.through(HISS_BEFORE, "hiss before the gate")
    raised_lets, gate_lets = rest_noise(excerpt, gain_first), rest_noise(excerpt, gate_first)
    return (
        StepDraft(
            heading="The same gate in two places",
            does=(
                f"A quiet microphone: the take comes in {GAIN_DB:g} dB lower. Both chains have one gain of "
                f"{GAIN_DB:g} dB and one gate that opens at {THRESHOLD} dBFS. Only their order differs."
            ),
            heard=(gate_first, gain_first),
            claims=(
                compared(
                    gate_lets, raised_lets, least=3.0, expects="more",
                    more="With the gain first, {difference} more noise comes through in the rests.",
                    less="With the gain first, {difference} less noise comes through in the rests.",
                    same="The rests are as noisy with the gain first as with the gate first.",
                ),
            ),
            listen_for="The rests: does the hiss stop, or does it stay there and wait for the next note?",
            question="The gate is the same in both. Why does it shut in one chain and not in the other?",
            answer=(
                "A gate compares the level that reaches it with its threshold. The gain has lifted the hiss of the take"
                f" by {GAIN_DB:g} dB; where that brings it over {THRESHOLD} dBFS, the gate takes it for a note."
                f" In the rests are left: {gate_lets.text} with the gate first, {raised_lets.text} with the gain first."
            ),
            picture=level_picture(
                (gate_first, gain_first),
                f"Level over time. In the rests the line with the gate first ends at {gate_lets.text}, "
                f"the line with the gain first at {raised_lets.text}.",
            ),
        ),
        _moved_threshold(excerpt, gate_first, raised),
        _hiss(excerpt, behind, before),
    )  # fmt: skip


def _moved_threshold(excerpt: Excerpt, gate_first: Heard, raised: Heard) -> StepDraft:
    left = what_is_left("what is left when one is taken from the other", difference_db(gate_first, raised))
    return StepDraft(
        heading="Move the threshold along with the gain",
        does=(
            f"Now the gate behind the gain opens at {RAISED_THRESHOLD} dBFS: as much higher as the gain lifts. "
            "Beside it is the chain with the gate first, as before."
        ),
        heard=(gate_first, raised),
        claims=(
            compared(
                Reading("a difference nobody hears", -60.0, "dB", 0), left, least=1e-9, expects="less",
                more="The two still differ: what is left of the one without the other is {second} beside it.",
                less="The two are the same sound: what is left of the one without the other is {second} beside it.",
                same="The two differ by {second}.",
            ),
            compared(
                rest_noise(excerpt, gate_first), rest_noise(excerpt, raised), least=1.0, expects="same",
                more="The rests are {difference} noisier than with the gate first.",
                less="The rests are {difference} quieter than with the gate first.",
                same="The rests are as quiet in both: {second}.",
            ),
        ),
        listen_for="Nothing: try to hear a difference, and see whether you can.",
        question="You turn up the gain before a gate by 6 dB. What do you do to the gate?",
        answer=(
            "You raise its threshold by 6 dB too. Gain and gate can change places if the threshold goes along; "
            "that is easy to forget in the dark, so a gate in front, before anything you turn, is the safer place."
        ),
        picture=level_picture(
            (gate_first, raised),
            f"Level over time of both. In the rests lie {rest_noise(excerpt, gate_first).text} and "
            f"{rest_noise(excerpt, raised).text}.",
        ),
    )  # fmt: skip


def _hiss(excerpt: Excerpt, behind: Heard, before: Heard) -> StepDraft:
    behind_db, before_db = rest_noise(excerpt, behind), rest_noise(excerpt, before)
    return StepDraft(
        heading="A box that hisses of itself",
        does=(
            f"Every box adds a little noise of its own; here a hiss of {HISS} dBFS comes in behind the gain. "
            "In one chain the gate stands before it, in the other behind it."
        ),
        heard=(behind, before),
        claims=(
            compared(
                before_db, behind_db, least=3.0, expects="more",
                more="With the hiss behind the gate, the rests are {difference} noisier.",
                less="With the hiss behind the gate, the rests are {difference} quieter.",
                same="It makes no difference to the rests where the hiss comes in.",
            ),
        ),
        listen_for="The hiss between the notes, and how it goes away with the last note.",
        question="Which gate would you choose: first in the chain, or last?",
        answer=(
            "Both have their price. First, its threshold never needs to move, but what later boxes add stays "
            f"({behind_db.text} in the rests here). Last, it shuts that out too ({before_db.text}), but it must be set "
            "for the level it gets there. A gate that stands last and listens to the clean horn needs no new threshold "
            "and shuts the hiss out, but cuts off what rings on: the lesson about detectors."
        ),
        picture=level_picture(
            (behind, before),
            f"Level over time. In the rests {behind_db.text} are left with the hiss behind the gate, "
            f"{before_db.text} with the hiss before it.",
        ),
    )  # fmt: skip


COURSE = Course(
    key="gate-and-gain",
    title="Gate before or after the gain",
    asks="The same gate, the same gain: why is one order quiet in the rests and the other not?",
    take="ropewalk_trumpet",
    steps=steps,
)
