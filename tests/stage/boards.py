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
AT_LEISURE, IN_A_HURRY = (0.0, 1.0, 2.0), (0.0, 0.3, 0.6, 0.9, 1.4)
"""Seconds from one cue to the next."""

actions = st.one_of(
    st.builds(lambda n: Action("patch", n), st.sampled_from(PATCHES)),
    st.builds(lambda n: Action("place", place=n), st.integers(1, 3)),
    st.sampled_from([parse_action(t) for t in ("bank up", "bank down", "bank one", "back", "dry", "mute", "tap")]),
    st.builds(lambda n: Action("block", n), st.sampled_from(BLOCKS)),
)


some_actions = st.none() | actions
lamps = st.sampled_from(["press", "hold", "none"])
switch_lists = st.lists(st.tuples(actions, some_actions, some_actions, lamps), min_size=3, max_size=5)
bank_lists = st.lists(
    st.lists(st.sampled_from(PATCHES), min_size=1, max_size=3, unique=True).map(tuple), min_size=2, max_size=3
)
some_blocks = st.sets(st.sampled_from(BLOCKS)).map(frozenset)
first_patches = st.none() | st.sampled_from(PATCHES)


@st.composite
def boards(draw: st.DrawFn) -> Board:
    """Two or three banks of four patches, two blocks, three to five switches."""
    return Board(
        tuple(map(Bank, ("one", "two", "three"), draw(bank_lists))),
        tuple(Switch(name, *what) for name, what in zip("ABCDE", draw(switch_lists), strict=False)),
        {p: draw(some_blocks) for p in (None, *PATCHES)},
        draw(some_blocks),
        draw(first_patches),
    )


counts = {most: st.integers(1, most) for most in range(1, 10)}
times_apart = {apart: st.sampled_from(apart) for apart in (AT_LEISURE, IN_A_HURRY)}
kinds = st.sampled_from(["patch", "patch", "block", "mute", "dry", "press", "hold"])
names = {
    "patch": st.sampled_from(PATCHES),
    "block": st.sampled_from(BLOCKS),
    **{"ABCDE"[:n]: st.sampled_from("ABCDE"[:n]) for n in (3, 4, 5)},
}
ons, feet = st.booleans(), st.integers(0, 4).map(bool)


@st.composite
def cue_lists(draw: st.DrawFn, board: Board, most: int = 4, apart_s: tuple[float, ...] = AT_LEISURE) -> list[Cue]:
    """Cues in order of time, some at one instant."""
    cues, at_s = [], 0.0
    switches = "".join(s.name for s in board.switches)
    for _ in range(draw(counts[most])):
        at_s += draw(times_apart[apart_s])
        kind = draw(kinds)
        name = draw(names.get(kind, names[switches])) if kind not in ("mute", "dry") else ""
        cues.append(Cue(at_s, kind, name, on=draw(ons), by_foot=draw(feet)))
    return cues
