"""The contract that every block and controller keeps; a new one joins by being registered.

Nothing here knows what a block does: it is fed bursts, noise and jumping settings, and compared with itself.
"""

from __future__ import annotations

import importlib
import itertools
import math
import sys
from collections.abc import Iterator

import numpy as np
import pytest

from chainsim.kernel import Kernel
from tests.contract.feeds import jumps, rng_of
from tests.contract.subjects import (
    ALSO,
    BLOCKS,
    CONTROLLERS,
    RATES_HZ,
    SUBJECTS,
    Feed,
    Subject,
    corners,
    drawn_settings,
    made,
    subject_class,
)

WORKS_IN = {"source pitch_track": "chainsim.dsp.pitch_tracker"}
"""Where the kernels of a subject are, if not in its own file."""

every_subject = pytest.mark.parametrize("name", SUBJECTS)
LAYOUTS = [pytest.param(1, id="mono"), pytest.param(2, id="stereo")]


def kernels() -> dict[str, Kernel]:
    """Every kernel of every loaded module of the package."""
    modules = [m for n, m in list(sys.modules.items()) if n.split(".")[0] == "chainsim" and m is not None]
    return {f"{m.__name__}.{k}": v for m in modules for k, v in vars(m).items() if isinstance(v, Kernel)}


@pytest.fixture(autouse=True)
def _one_signature_each() -> Iterator[None]:
    """No test here makes a kernel be compiled for a second list of argument types."""
    before = several_signatures()
    yield
    assert {name: types for name, types in several_signatures().items() if name not in before} == {}


def several_signatures() -> dict[str, list[str]]:
    """Kernels compiled more than once, and for which types; each one more is compiled as long as the first."""
    several = {name: k for name, k in kernels().items() if k.signature_count > 1}
    return {name: [str(types) for types in k.compiled().signatures] for name, k in several.items()}


def widths(name: str, channels: int) -> list[dict[str, int] | int]:
    """Layouts to try: all ports alike, and, where there are several, each port in turn of the other width."""
    cls = subject_class(name)
    ports = [*cls.audio_inputs, *(["detector"] if cls.has_detector else [])]
    mixed = [{p: 3 - channels if p == odd else channels for p in ports} for odd in ports[1:]]
    return [channels, *mixed]


def variants(name: str) -> list[dict[str, object]]:
    """The settings as they are by default, two random draws that are allowed, and what is to be tried besides."""
    draws = (drawn_settings(name, i, rate_hz=8_000.0) for i in range(20))
    allowed = [s for s in draws if made(name, s, sample_rate_hz=8_000.0) is not None]
    assert len(allowed) >= 2, "hardly any random settings are allowed"
    return [{}, *allowed[:2], *ALSO.get(name, [])]


def test_there_is_something_to_test() -> None:
    assert {"gain", "pan", "blender"} <= set(BLOCKS)
    assert {"breakpoints", "control_change", "envelope", "lfo"} <= set(CONTROLLERS)


@every_subject
def test_names_agree(name: str) -> None:
    cls = subject_class(name)
    type_name = name.rpartition(" ")[2]
    assert cls.type_name == type_name
    assert cls.__module__.rpartition(".")[2] == type_name
    assert cls.__name__ == "".join(word.capitalize() for word in type_name.split("_"))
    for spec in cls.settings_type.specs().values():
        if name in BLOCKS:
            assert spec.text, f"{spec.name} has no sentence"
        if spec.law == "log":
            assert spec.low is not None, spec.name
            assert spec.low > 0.0, f"{spec.name} travels in its logarithm but may be {spec.low}"


@every_subject
@pytest.mark.parametrize("channels", LAYOUTS)
@pytest.mark.parametrize("moves", [False, True], ids=["still", "moving"])
def test_same_bytes_for_any_cuts_and_after_reset(name: str, channels: int, moves: bool) -> None:
    for settings, ports in itertools.product(variants(name), widths(name, channels)):
        subject = Subject(name, sample_rate_hz=8_000.0, channels=ports, moves=moves, **settings)
        feed = subject.feed("cuts", moves)
        frames = len(feed.bpm)
        whole = subject.run(feed)
        assert np.isfinite(whole).all(), settings
        rng = rng_of(name, "cuts")
        cuts = [list(range(size, frames, size)) for size in (1, 7, 64, 509)]
        cuts.append(sorted(rng.integers(0, frames, 40).tolist() * 2))  # each twice: spans of no frames
        for cut in cuts if not settings and ports == channels else cuts[1:]:
            subject.block.reset()
            assert subject.run(feed, cut).tobytes() == whole.tobytes(), (settings, ports, cut[:2])


@every_subject
@pytest.mark.parametrize("rate_hz", [44_100.0, 48_000.0])
def test_same_bytes_for_any_cuts_at_full_rate(name: str, rate_hz: float) -> None:
    subject = Subject(name, sample_rate_hz=rate_hz, channels=2, moves=True)
    feed = subject.feed("full rate", frames=20_000)
    whole = subject.run(feed)
    for cut in (range(509, 20_000, 509), range(4_096, 20_000, 4_096), [3, 3, 11_111]):
        subject.block.reset()
        assert subject.run(feed, list(cut)).tobytes() == whole.tobytes(), cut


@every_subject
def test_reset_from_any_state_equals_new(name: str) -> None:
    for settings, moves in itertools.product(variants(name), (False, True)):
        subject = Subject(name, sample_rate_hz=8_000.0, channels=2, moves=moves, **settings)
        feed = subject.feed("reset", moves)
        new = subject.run(feed)
        subject.block.reset()
        for stop in (1, 1_237, 2_999):
            subject.run(subject.feed("other", frames=stop, level=2.0))
            subject.block.reset()
            assert subject.run(feed).tobytes() == new.tobytes(), (settings, moves, stop)


@every_subject
@pytest.mark.parametrize("channels", LAYOUTS)
def test_what_comes_later_changes_nothing_before(name: str, channels: int) -> None:
    for settings, moves in itertools.product(variants(name), (False, True)):
        subject = Subject(name, sample_rate_hz=8_000.0, channels=channels, moves=moves, **settings)
        feed, other = subject.feed("causal", moves), subject.feed("changed", moves)
        whole = subject.run(feed)
        for n in (1, 640, 1_999):
            for changed in (feed.then(n, other), feed.until(n)):
                subject.block.reset()
                assert subject.run(changed)[:, :n].tobytes() == whole[:, :n].tobytes(), (settings, moves, n)


@every_subject
def test_two_instances_share_nothing(name: str) -> None:
    for settings in variants(name):
        one, two = (Subject(name, sample_rate_hz=8_000.0, channels=2, moves=True, **settings) for _ in range(2))
        feed, other = one.feed("one"), one.feed("two")
        alone = one.run(feed)
        one.block.reset()
        begun = one.run(feed, stop=1_000)
        two.run(other, stop=1_700)
        ended = one.run(feed, start=1_000)
        assert np.hstack([begun, ended]).tobytes() == alone.tobytes()


@every_subject
def test_only_seeded_blocks_depend_on_the_seed(name: str) -> None:
    one, two, three = (Subject(name, sample_rate_hz=8_000.0, channels=2, seed=seed) for seed in (5, 5, 77))
    feed = one.feed("seed", frames=40_000)  # so long that what draws once a beat has drawn some times
    same, other = one.run(feed), three.run(feed)
    assert two.run(feed).tobytes() == same.tobytes()
    assert (other.tobytes() == same.tobytes()) == (not one.cls.is_seeded(one.block.settings))


@every_subject
def test_no_frames_are_accepted_and_change_nothing(name: str) -> None:
    subject = Subject(name, sample_rate_hz=8_000.0, channels=2, moves=True)
    feed = subject.feed("none")
    whole = subject.run(feed)
    subject.block.reset()
    for _ in range(3):
        assert subject.run(feed.until(0)).shape == (whole.shape[0], 0)
    assert subject.run(feed).tobytes() == whole.tobytes()


@every_subject
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_rate_and_layout_with_one_signature(name: str, rate_hz: float) -> None:
    for channels, moves in itertools.product((1, 2), (False, True)):
        subject = Subject(name, sample_rate_hz=rate_hz, channels=channels, moves=moves)
        y = subject.run(subject.feed("rates", frames=int(rate_hz / 8.0)), [100, 100])
        assert np.isfinite(y).all()
        assert np.isfinite([subject.block.latency_samples, subject.block.age_samples]).all()
        assert subject.block.latency_samples >= 0.0
        assert subject.block.tail_s >= 0.0
    own = importlib.import_module(WORKS_IN.get(name, subject.cls.__module__))
    called = [v for v in vars(own).values() if isinstance(v, Kernel) and v.signature_count]
    assert called, "no kernel has run"


@every_subject
def test_finite_at_every_corner(name: str) -> None:
    refused = 0
    tried = list(corners(name, 8_000.0))
    for i, settings in enumerate(tried):
        subject = made(name, settings, sample_rate_hz=8_000.0, channels=1 + i % 2)
        if subject is None:
            refused += 1
            continue
        for feed in harsh(subject, 6_000):
            subject.block.reset()
            assert np.isfinite(subject.run(feed)).all(), settings
    assert refused <= len(tried) // 2, "half of the corners are refused"


@every_subject
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_finite_while_settings_jump_between_their_ends(name: str, rate_hz: float) -> None:
    draws = [{}, *(drawn_settings(name, "jumps", i, rate_hz=8_000.0, at_ends=i % 2 == 0) for i in range(4))]
    for i, settings in enumerate(draws):
        subject = made(name, settings, sample_rate_hz=rate_hz, channels=2, moves=True)
        if subject is None:
            assert settings, "the defaults are refused"
            continue
        rng = rng_of(name, "jumps", i)
        for feed in harsh(subject, 6_000):
            subject.block.reset()
            feed.moving = {n: jumps(rng, s, 6_000, rate_hz) for n, s in subject.specs.items()}
            assert np.isfinite(subject.run(feed)).all(), settings


def harsh(subject: Subject, frames: int) -> Iterator[Feed]:
    """Sounds that no horn makes: a full-scale square over noise, a lone spike of 120 dB over full scale, an offset."""
    rng = rng_of("harsh")
    square = np.sign(np.sin(np.arange(frames) * 0.21))
    spike = np.zeros(frames)
    spike[[7, frames // 2]] = 1e6, -1e6
    for shape in (square + 0.5 * rng.standard_normal(frames), spike, np.full(frames, 4.0)):
        ports = {p: np.stack([shape * (1.0 - 0.3 * c) for c in range(w)]) for p, w in subject.widths.items()}
        yield Feed(ports, {}, np.full(frames, 131.0))


@every_subject
@pytest.mark.parametrize("level", [1.0, 1e-290], ids=["loud", "faint"])
def test_what_dies_away_does_not_linger_in_subnormal_numbers(name: str, level: float) -> None:
    smallest = np.finfo(np.float64).tiny
    for settings in variants(name):
        subject = Subject(name, sample_rate_hz=8_000.0, channels=2, **settings)
        if subject.silent:
            return
        subject.run(subject.feed("dies", frames=2_000, level=level))
        nepers_per_tail = 4.5 * math.log(10.0)
        tails = -math.log(smallest / level) / nepers_per_tail + 4.0
        rest = min(tails * subject.block.tail_s, 60.0) if math.isfinite(subject.block.tail_s) else 60.0
        frames = 8_000 + int(rest * subject.rate_hz)
        ports = {p: np.zeros((w, frames)) for p, w in subject.widths.items()}
        y = subject.run(Feed(ports, {}, np.full(frames, 120.0)), range(16_384, frames, 16_384))
        assert not subnormal(y).any(), settings
        state = {k: v for k, v in arrays_of(subject.block).items() if subnormal(v).any()}
        assert state == {}, settings


def subnormal(x: np.ndarray) -> np.ndarray:
    """Where numbers are so small that processors slow down."""
    return (x != 0.0) & (np.abs(x) < np.finfo(np.float64).tiny)


def arrays_of(thing: object) -> dict[str, np.ndarray]:
    """Every float array a block keeps, also inside the parts it is made of."""
    found, seen, todo = {}, set(), [("", thing)]
    while todo:
        path, at = todo.pop()
        if id(at) in seen:
            continue
        seen.add(id(at))
        if isinstance(at, np.ndarray):
            if at.dtype == np.float64:
                found[path] = at
        elif isinstance(at, list | tuple):
            todo += [(f"{path}[{i}]", v) for i, v in enumerate(at)]
        elif isinstance(at, dict):
            todo += [(f"{path}.{k}", v) for k, v in at.items()]
        elif type(at).__module__.startswith("chainsim."):
            todo += [(f"{path}.{k}", v) for k, v in getattr(at, "__dict__", {}).items()]
            todo += [(f"{path}.{k}", getattr(at, k, None)) for k in getattr(type(at), "__slots__", ())]
    return found
