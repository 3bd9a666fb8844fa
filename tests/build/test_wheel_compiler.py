"""A machine without a C compiler of its own may have one as a wheel."""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build import find_compiler
from dryspin.build.toolchain import WHEEL, compiler_of
from dryspin.errors import BuildError
from dryspin.rig import Rig

from ..small_firmware import Bench, scenario

OVERFLOWS = """\
#include "say.h"
static volatile int32_t large = 0x7FFFFFFF;
int main(void)
{
    large = large + 1;
    say((uint16_t)port_ticks());
    SLEEP_FOREVER
}
"""


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


@pytest.mark.parametrize("level", ["-O0", "-O1"])
def test_the_wheels_compiler_builds_what_the_machines_own_builds(bench: Bench, level: str) -> None:
    """To the last bit, and without checks of its own: only the checked build tells an overflow."""
    pytest.importorskip("ziglang", reason="pip install 'dryspin[zig]'; .ci/long does")
    wheel = compiler_of(WHEEL)
    assert wheel is not None
    rigs = [
        Rig(bench.image(OVERFLOWS, compiler=replace(compiler, firmware_level=level)), bench.drive)
        for compiler in (find_compiler(), wheel)
    ]
    digests = {rig.run(scenario(0.1), block_cycles=0).digest() for rig in rigs}

    assert len(digests) == 1
    assert [rig.undefined() for rig in rigs] == [[], []]
