"""A lesson as a page: one file that needs no network."""

from __future__ import annotations

import re

from chainsim.listen.lessons.model import Lesson
from chainsim.listen.page.writing import html_page

_BEFORE_UNIT = re.compile(r"(?<=\d) (?=\d{3}\b|(?:dB|dBFS|dBTP|LU|LUFS|Hz|kHz|ms|s|%|cents|octaves)(?!\w))")


def lesson_page(lesson: Lesson) -> str:
    """The whole document, its sounds inside.

    Parameters
    ----------
    lesson : Lesson

    Returns
    -------
    str
        HTML; every name in it is escaped, and only pictures and drawings of ours are taken as they are.
    """
    return html_page(
        "lesson.html.j2",
        title=lesson.title,
        data={"take": lesson.take_name, "sampleRate": lesson.sample_rate_hz, "startsAt": 0.0, "foot": None},
        sounds=lesson.sounds,
        lesson=lesson,
        names={sound.key: sound.name for sound in lesson.sounds},
        unbroken=unbroken,
    )


def unbroken(text: str) -> str:
    """A sentence in which no line breaks between a figure and its unit, nor within a figure."""
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text)
