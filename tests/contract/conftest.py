"""Fixtures of the contract tests."""

from __future__ import annotations

import functools
from collections.abc import Iterator

import pytest

from chainsim.stage import control_change


@pytest.fixture(scope="session", autouse=True)
def a_controller_file_is_parsed_once() -> Iterator[None]:
    """Its thousands of messages are the parser's subject, in other tests; here it would take most of the time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(control_change, "read_smf_file", functools.cache(control_change.read_smf_file))
        yield
