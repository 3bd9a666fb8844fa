"""A machine without a C compiler of its own may have one as a wheel."""

from pathlib import Path

import pytest

from dryspin.build import find_compiler
from dryspin.build.toolchain import WHEEL
from dryspin.errors import BuildError


def test_the_wheels_compiler_is_the_last_choice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Found by its module, called through Python; with CC or a compiler in PATH it is not asked for."""
    (tmp_path / "ziglang").mkdir()
    (tmp_path / "ziglang" / "__init__.py").touch()
    (tmp_path / "ziglang" / "__main__.py").write_text("print('clang version 99 of a test')")
    monkeypatch.delenv("CC", raising=False)
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    own = find_compiler.__wrapped__()
    monkeypatch.setenv("PATH", str(tmp_path))
    wheel = find_compiler.__wrapped__()

    assert own.command != WHEEL
    assert (wheel.command, wheel.is_clang) == (WHEEL, True)


def test_without_any_compiler_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wheel is one way."""
    monkeypatch.delenv("CC", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("dryspin.build.toolchain.find_spec", lambda name: None)

    with pytest.raises(
        BuildError, match=r"apt-get install gcc libc6-dev`, or `pip install 'dryspin\[zig\]'`"
    ):
        find_compiler.__wrapped__()
