"""Boards to step on: one written by hand, and small random ones."""

from __future__ import annotations

from hypothesis import strategies as st

from chainsim.stage.actions import Action, parse_action
from chainsim.stage.board import Bank, Board, Switch
from chainsim.stage.cues import Cue

PARADE = Board(
    banks=(
        Bank("morning", ("chorale", "tide")),
        Bank("noon", ("market", "drums", "tide")),
        Bank("dusk", ("lantern",)),
    ),
    switches=(
        Switch("A", parse_action("place 1"), hold=parse_action("block echo")),
        Switch("B", parse_action("place 2"), second_press=parse_action("back")),
        Switch("UP", parse_action("bank up")),
        Switch("M", parse_action("mute"), hold=parse_action("dry"), lamp="hold"),
        Switch("R", parse_action("block reverb")),
        Switch("T", parse_action("tap"), lamp="none"),
    ),
    engaged={
        None: frozenset({"reverb"}),
        "chorale": frozenset({"echo", "shifter"}),
        "tide": frozenset({"echo"}),
        "market": frozenset({"drive"}),
        "drums": frozenset(),
        "lantern": frozenset({"echo"}),
    },
    free_standing=frozenset({"reverb"}),
    first_patch="chorale",
)
"""The parade of an invented harbour town; the reverb is free-standing."""


def board_of(*switches: tuple[str, str], banks: tuple[tuple[str, ...], ...], first: str) -> Board:
    """A board of switches (name, what a press does) over banks of patches that differ by nothing else."""
    patches = dict.fromkeys([p for bank in banks for p in bank], frozenset[str]())
    return Board(
        tuple(Bank(str(i + 1), bank) for i, bank in enumerate(banks)),
        tuple(Switch(name, parse_action(press)) for name, press in switches),
        {None: frozenset(), **patches},
        first_patch=first,
    )


PATCHES = ("p", "q", "r", "s")
BLOCKS = ("echo", "reverb")

actions = st.one_of(
    st.builds(lambda n: Action("patch", n), st.sampled_from(PATCHES)),
    st.builds(lambda n: Action("place", place=n), st.integers(1, 3)),
    st.sampled_from([parse_action(t) for t in ("bank up", "bank down", "bank one", "back", "dry", "mute", "tap")]),
    st.builds(lambda n: Action("block", n), st.sampled_from(BLOCKS)),
)


@st.composite
def boards(draw: st.DrawFn) -> Board:
    """Two or three banks of four patches, two blocks, three to five switches."""
    some = st.lists(st.sampled_from(PATCHES), min_size=1, max_size=3, unique=True).map(tuple)
    names = ("one", "two", "three")[: draw(st.integers(2, 3))]
    engaged = {p: frozenset(draw(st.sets(st.sampled_from(BLOCKS)))) for p in (None, *PATCHES)}
    switches = [
        Switch(
            name,
            draw(actions),
            draw(st.none() | actions),
            draw(st.none() | actions),
            draw(st.sampled_from(["press", "hold", "none"])),
        )
        for name in "ABCDE"[: draw(st.integers(3, 5))]
    ]
    return Board(
        tuple(Bank(name, draw(some)) for name in names),
        tuple(switches),
        engaged,
        frozenset(draw(st.sets(st.sampled_from(BLOCKS)))),
        draw(st.none() | st.sampled_from(PATCHES)),
    )


@st.composite
def cue_lists(draw: st.DrawFn, board: Board, most: int = 4) -> list[Cue]:
    """Cues in order of time, some at one instant."""
    cues, at_s = [], 0.0
    for _ in range(draw(st.integers(1, most))):
        at_s += draw(st.sampled_from([0.0, 1.0, 2.0]))
        kind = draw(st.sampled_from(["patch", "patch", "block", "mute", "dry", "press", "hold"]))
        names = {"patch": PATCHES, "block": BLOCKS}.get(kind, tuple(s.name for s in board.switches))
        name = draw(st.sampled_from(names)) if kind not in ("mute", "dry") else ""
        cues.append(Cue(at_s, kind, name, on=draw(st.booleans()), by_foot=draw(st.integers(0, 4)) > 0))
    return cues
