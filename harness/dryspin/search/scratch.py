"""Hypothesis without files."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager

import hypothesis.configuration


@contextmanager
def hypothesis_leaves_no_files() -> Iterator[None]:
    """Hypothesis caches what it learns of the loaded modules in ./.hypothesis; here, nowhere."""
    with tempfile.TemporaryDirectory(prefix="dryspin-") as scratch:
        hypothesis.configuration.set_hypothesis_home_dir(scratch)
        try:
            yield
        finally:
            hypothesis.configuration.set_hypothesis_home_dir(None)
