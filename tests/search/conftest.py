"""Searches look for ./traces/found; a test must not meet the repository's."""

import pytest


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path_factory, monkeypatch):
    monkeypatch.chdir(tmp_path_factory.mktemp("elsewhere"))
