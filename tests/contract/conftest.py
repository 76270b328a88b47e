"""Fixtures of the contract tests."""

from __future__ import annotations

import functools

import pytest

from chainsim.stage import control_change

read_once = functools.cache(control_change.read_smf_file)


@pytest.fixture(autouse=True)
def a_controller_file_is_parsed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its thousands of messages are the parser's subject, in other tests; here it would take most of the time."""
    monkeypatch.setattr(control_change, "read_smf_file", read_once)
