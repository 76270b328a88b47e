"""A lesson as a page: one file that needs no network."""

from __future__ import annotations

from chainsim.listen.lessons.model import Lesson
from chainsim.listen.page.writing import html_page


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
    )
