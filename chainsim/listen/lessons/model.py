"""What a lesson has to tell and to play, before it is a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from chainsim.listen.page.model import Figure, PageSound

Levels: TypeAlias = Literal["equal", "as it comes"]
"""Whether a step's sounds are heard at one loudness or as loud as they come."""


@dataclass(frozen=True)
class Claim:
    """A sentence about sounds that was made from figures.

    Attributes
    ----------
    text : str
    figures : tuple of Figure
        What it was made from.
    holds : bool
        Whether the sounds bear out what the lesson expects; if not, the sentence says what they do instead.
    """

    text: str
    figures: tuple[Figure, ...]
    holds: bool


@dataclass(frozen=True)
class Line:
    """One line of a picture: a name for its key, and what it reads out as."""

    name: str
    mark: str


@dataclass(frozen=True)
class Picture:
    """A picture of curves.

    Attributes
    ----------
    svg : str
        Safe to stand in a page as it is.
    caption : str
        What is drawn.
    lines : tuple of Line
        One a curve, in order.
    alt : str
        What the picture shows, for who does not see it.
    """

    svg: str
    caption: str
    lines: tuple[Line, ...]
    alt: str


@dataclass(frozen=True)
class LessonStep:
    """One step of the way.

    Attributes
    ----------
    heading : str
    does : str
        What happens here, in about two sentences.
    sounds : tuple of str
        Keys of the sounds to compare, all of one scene.
    claims : tuple of Claim
    listen_for : str
    question, answer : str
        The answer is hidden at first. Both are empty where nothing is asked.
    picture : Picture or None
    drawings : tuple of (name, SVG)
        The signal flow of each chain.
    settings : tuple of (name, text)
        Each chain as a sketch.
    levels : {"equal", "as it comes"}
    """

    heading: str
    does: str
    sounds: tuple[str, ...]
    claims: tuple[Claim, ...]
    listen_for: str
    question: str
    answer: str
    picture: Picture | None = None
    drawings: tuple[tuple[str, str], ...] = ()
    settings: tuple[tuple[str, str], ...] = ()
    levels: Levels = "equal"

    @property
    def bears_out(self) -> bool:
        """Whether all its claims hold, so that the answer can lean on them."""
        return all(claim.holds for claim in self.claims)


@dataclass(frozen=True)
class Lesson:
    """A page of steps, one under the other.

    Attributes
    ----------
    key : str
        By which it is called up.
    title, asks : str
        Its name, and the one question it answers.
    steps : tuple of LessonStep
    sounds : tuple of PageSound
    sample_rate_hz : int
    take_name : str
    notes : tuple of str
        What the reader is to know of the page as a whole, and where facts come from that are not computed.
    drawing : str or None
        The signal flow of the whole, as SVG.
    """

    key: str
    title: str
    asks: str
    steps: tuple[LessonStep, ...]
    sounds: tuple[PageSound, ...]
    sample_rate_hz: int
    take_name: str
    notes: tuple[str, ...] = ()
    drawing: str | None = None
