"""Fixtures for all tests."""

from __future__ import annotations

import os
from collections import Counter

import pytest
from hypothesis import HealthCheck, settings

from tests.benchmarks import bench
from tests.sampled_horns import SampledHorn, sampled_sax_take, sampled_trombone_take

LONG_TABLES = {
    "dsp/test_pitch_articulations.py": 4,
    "dsp/test_harmonic_shifter.py": 2,
    "dsp/test_harmony_note_of_horns.py": 3,
    "dsp/test_peak_shifting.py": 2,
    "dsp/test_peak_turning.py": 2,
    "dsp/test_period_marks.py": 2,
    "dsp/test_pitch_presence.py": 2,
    "dsp/test_pitch_against_libraries.py": 2,
    "measure/test_harmony.py": 2,
    "measure/test_fundamental.py": 2,
    "batch/test_harmonies.py": 2,
    "presets/test_voices.py": 3,
    "blocks/test_following_synth.py": 2,
    "blocks/test_pitch_shifter_attacks.py": 2,
    "published/test_pitch_tracker.py": 2,
    "published/test_pitch_shifter.py": 2,
}
"""Of the cases of each test in these files a usual run takes every so-many-th; `pytest -m thorough` runs the others."""

# No example is too slow: the machine may stall for seconds.
settings.register_profile("untimed", settings(), deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

FIRST = ("tests/browser/", "tests/test_bounds.py")
"""What takes longest in one process begins first, so that no process waits for it at the end."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Share the tests out to processes, and mark what a usual run leaves out of long tables; one case stays.

    The tests of a file go to one process, since they need the same kernels, which would else be compiled by all
    processes at once; all those of the browser go to one, which starts one browser.
    """
    seen: Counter[str] = Counter()
    items.sort(key=lambda item: not item.nodeid.startswith(FIRST))
    for item in items:
        if item.get_closest_marker("xdist_group") is None:
            browser = item.nodeid.startswith("tests/browser/")
            item.add_marker(pytest.mark.xdist_group("browser" if browser else item.nodeid.partition("::")[0]))
        place = item.nodeid.partition("[")[0]
        every = next((k for name, k in LONG_TABLES.items() if f"tests/{name}::" in place), 1)
        if "[" in item.nodeid and seen[place] % every:
            item.add_marker(pytest.mark.thorough)
        seen[place] += 1


def pytest_xdist_auto_num_workers() -> int:
    """One process more than cores: the one with the browser mostly waits for it."""
    return (os.cpu_count() or 1) + 1


def pytest_configure(config: pytest.Config) -> None:
    """Measure speed with care only where it is asked for."""
    bench.THOROUGH = config.option.markexpr == "bench"


@pytest.fixture(scope="session")
def sampled_sax(tmp_path_factory: pytest.TempPathFactory) -> SampledHorn:
    """A phrase by a sampled tenor saxophone, and its notes."""
    return sampled_sax_take(tmp_path_factory.mktemp("sampled"))


@pytest.fixture(scope="session")
def sampled_trombone(tmp_path_factory: pytest.TempPathFactory) -> SampledHorn:
    """A phrase by a sampled trombone, and its notes."""
    return sampled_trombone_take(tmp_path_factory.mktemp("sampled"))
