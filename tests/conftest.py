"""Fixtures for all tests."""

from __future__ import annotations

import pytest

from tests.benchmarks import bench
from tests.sampled_horns import SampledHorn, sampled_sax_take, sampled_trombone_take


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
