"""Fixtures for all tests."""

from __future__ import annotations

import pytest

from tests.sampled_horns import SampledHorn, sampled_sax_take, sampled_trombone_take


@pytest.fixture(scope="session")
def sampled_sax(tmp_path_factory: pytest.TempPathFactory) -> SampledHorn:
    """A phrase by a sampled tenor saxophone, and its notes."""
    return sampled_sax_take(tmp_path_factory.mktemp("sampled"))


@pytest.fixture(scope="session")
def sampled_trombone(tmp_path_factory: pytest.TempPathFactory) -> SampledHorn:
    """A phrase by a sampled trombone, and its notes."""
    return sampled_trombone_take(tmp_path_factory.mktemp("sampled"))
