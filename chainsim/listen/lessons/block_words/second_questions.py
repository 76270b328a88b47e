"""What is asked at the second block of a type, so that no page asks the same twice."""

from __future__ import annotations

from collections.abc import Mapping

SECOND_QUESTIONS: Mapping[str, tuple[str, str]] = {
    "gain": (
        "Two gains stand in a chain. When is it not the same which of them you turn?",
        "When a box between them hears levels or bends the wave, or adds a hiss of its own. Are there only boxes that "
        "filter, delay and add, either will do.",
    ),
    "reverb": (
        "Two reverbs stand in a chain. How do you hear what each of them is for?",
        "Turn one of them off, then the other. One mostly holds the sounds together, as a small room does; the other "
        "gives them a far wall. If you miss neither, leave one out.",
    ),
    "equalizer": (
        "Two equalizers stand in a chain. When could one do the work of both?",
        "When all between them only filters, delays and adds. If a drive, a gate or a compressor stands between them, "
        "the first also decides what that one hears.",
    ),
    "delay": (
        "What becomes of the echoes of one delay in another that stands behind it?",
        "Each of them is echoed again. Delays side by side each echo the horn alone.",
    ),
    "following_synth": (
        "What do two synths that follow one horn get wrong together?",
        "Where the pitch is unclear it is so for both of them. Two that may not stumble together need two sources.",
    ),
    "pitch_shifter": (
        "Two shifters play along. How do you keep them from sounding like one organ?",
        "By what differs in real players: a few milliseconds, a few cents, and another place between the loudspeakers.",
    ),
    "compressor": (
        "Why may two compressors, one behind the other, be gentler than one?",
        "Each has less to do: one can be quick and catch the accents, the other slow and even out the phrases.",
    ),
}
"""By block type: the question, and its answer. A third block of a type asks nothing."""
