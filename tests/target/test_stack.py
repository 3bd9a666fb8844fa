"""The deepest stack of small programs, frames from the compiler and frames counted."""

from pathlib import Path

import pytest

from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.image import Image
from firmware_under_test.targets.stack import Chain, Stack, read_frames

from .conftest import Assemble, Compile
from .test_cycles import function


def frames(image: Image) -> dict[tuple[str, str], int]:
    """What the compiler left beside the source."""
    return read_frames(image.path.parent / "src")


@pytest.mark.needs_avr
def test_pushes_and_return_addresses_add_up_along_the_deepest_chain(assemble: Assemble) -> None:
    """Two bytes of return address a call (16-bit program counter: data sheet, section "Stack Pointer"),
    one a push, two for `rcall .+0`, which allocates; the shallower callee does not count."""
    image = assemble(
        function("deep", "push r16", "rcall .+0", "pop r0", "pop r0", "pop r16", "ret")
        + function("flat", "ret")
        + function("f", "push r28", "rcall flat", "rcall deep", "pop r28", "ret")
    )

    assert Stack(image, {}).deepest(image.function("f")) == Chain(3 + 5, ("f", "deep"))


@pytest.mark.needs_avr
def test_a_frame_is_the_compilers(compiled: Compile) -> None:
    """Forty bytes of locals, the pointer to them saved, the return address: nothing of it is a push alone."""
    image = compiled(
        "#include <stdint.h>\n"
        "void use(volatile uint8_t *); void __attribute__((noinline)) use(volatile uint8_t *p) { *p = 1; }\n"
        "void f(void); void f(void) { volatile uint8_t a[40]; a[39] = 0; use(a); }\n"
        "int main(void) { f(); return 0; }\n"
    )

    assert Stack(image, frames(image)).deepest(image.function("f")) == Chain(40 + 2 + 2 + 2, ("f", "use"))


@pytest.mark.needs_avr
def test_functions_of_one_name_keep_their_own_frames(tmp_path: Path, compiled: Compile) -> None:
    """Static functions of two files may share a name; the object's file tells them apart."""
    image = compiled(
        "static void __attribute__((noinline, used)) f(void) { } int main(void) { f(); return 0; }"
    )
    own = Stack(image, {("snippet.c", "f"): 5, ("other.c", "f"): 50}).deepest(image.function("f"))

    assert own.bytes == 5


@pytest.mark.needs_avr
def test_recursion_has_no_deepest_stack(assemble: Assemble) -> None:
    """Not even where it ends after one round."""
    image = assemble(function("g", "rcall f", "ret") + function("f", "rcall g", "ret"))

    with pytest.raises(TargetError, match="f -> g -> f: recursion has no bound"):
        Stack(image, {}).deepest(image.function("f"))


@pytest.mark.needs_avr
def test_a_moved_stack_pointer_needs_the_compilers_word(assemble: Assemble) -> None:
    """Library code may allocate by arithmetic; counting pushes would miss it."""
    image = assemble(function("f", "in r28, 0x3d", "sbiw r28, 9", "out 0x3d, r28", "ret"))

    with pytest.raises(TargetError, match="moves the stack pointer"):
        Stack(image, {}).deepest(image.function("f"))


def test_a_copy_made_for_some_callers_counts_as_its_function(tmp_path: Path) -> None:
    """The name in the debugging data is the source's; of several copies the largest frame is taken."""
    lines = ("a.c:3:6:f\t7\tstatic\n", "a.c:3:6:f.constprop.2\t9\tstatic\n", "b.c:1:1:f\t2\tstatic\n")
    (tmp_path / "src").mkdir()
    (tmp_path / "src" / "whole.su").write_text("".join(lines), encoding="utf-8")

    assert read_frames(tmp_path) == {("a.c", "f"): 9, ("b.c", "f"): 2}


def test_a_frame_of_changing_size_is_refused(tmp_path: Path) -> None:
    """An array whose length is known only at run time."""
    (tmp_path / "a.su").write_text("a.c:3:6:f\t7\tdynamic\n", encoding="utf-8")

    with pytest.raises(TargetError, match="its frame is dynamic"):
        read_frames(tmp_path)
