"""All lessons of ours, in the order in which they build on each other."""

from __future__ import annotations

import importlib
from typing import cast

from chainsim.errors import SettingError, nearest
from chainsim.listen.lessons.course import Course

_FILES = (
    "loudness",
    "gate_and_gain",
    "noise_adds",
    "detector",
    "series_parallel",
    "blend",
    "latency_combing",
    "drive_filter",
    "delay_reverb",
    "shifted_or_synth",
    "mono_fold",
)


def courses() -> tuple[Course, ...]:
    """Every lesson of ours."""
    return tuple(
        cast(Course, importlib.import_module(f"chainsim.listen.lessons.courses.{name}").COURSE) for name in _FILES
    )


def find_course(key: str) -> Course:
    """A lesson by its key.

    Raises
    ------
    SettingError
        If there is none; the message names the nearest one.
    """
    known = {course.key: course for course in courses()}
    if key not in known:
        raise SettingError(f'no lesson "{key}"{nearest(key, known) or "; chainsim lesson lists them"}')
    return known[key]
