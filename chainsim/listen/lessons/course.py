"""How a lesson is laid down: what it asks, which take suits it, and what it makes of any take."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from chainsim.listen.lessons.excerpt import LASTS_S, Excerpt, Heard
from chainsim.listen.lessons.model import Claim, Levels, Picture


@dataclass(frozen=True)
class StepDraft:
    """A step of a lesson with its sounds as they came out; `LessonStep` tells what the rest is.

    Attributes
    ----------
    draws : bool
        Whether its own chains are drawn and written out.
    """

    heading: str
    does: str
    heard: tuple[Heard, ...]
    claims: tuple[Claim, ...]
    listen_for: str
    question: str
    answer: str
    picture: Picture | None = None
    levels: Levels = "equal"
    draws: bool = True


@dataclass(frozen=True)
class Course:
    """A lesson of ours.

    Attributes
    ----------
    key : str
    title : str
    asks : str
        The question it answers, one line.
    take : str
        Which of the example takes suits it.
    steps : callable
        Makes the steps on an excerpt of any take.
    starts_s, lasts_s : float
        Which stretch of that example take.
    sources : tuple of str
        Where facts come from that the page does not compute.
    """

    key: str
    title: str
    asks: str
    take: str
    steps: Callable[[Excerpt], Sequence[StepDraft]]
    starts_s: float = 0.0
    lasts_s: float = LASTS_S
    sources: tuple[str, ...] = ()
