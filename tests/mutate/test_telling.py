"""Changes that come out as before are known without a run of each; whatever cannot be told is left out."""

from textwrap import dedent

import pytest

from dryspin.build import build_image
from dryspin.build.workshop import Workshop
from dryspin.mutate.mutations import mutations, parse_source
from dryspin.mutate.reach import Observation
from dryspin.rig import Rig

from ..small_firmware import scenario

MAIN = """
    #include "say.h"
    typedef struct { uint8_t a; uint16_t b; } pair;
    static volatile uint16_t seven = 7U;
    static uint16_t kept = 3U, other, table[8];
    static pair from = {1U, 2U}, to;
    static uint16_t said(uint16_t n) { return n; }
    static void work(void)
    {
        pair const *at = &from;
        if (seven > 5U)
            other = 5U;
        kept = 3U;
        to = *at;
        to = from;
        table[seven - 1U] = 9U;
        other = (uint16_t)(seven / 2U);
        other = said(seven);
        switch (seven) {
        case 7U: say(seven); break;
        default: break;
        }
        if (at != &from && at->b == 2U)
            other = 11U;
    }
    int main(void)
    {
        work();
        SLEEP_FOREVER
    }
"""


@pytest.fixture
def observed(bench, tmp_path):
    """Whether each change of work(), by its line before and after, makes a difference; None: not told."""
    bench.image(MAIN)
    (tmp_path / "workshop" / "observed").mkdir(parents=True)
    workshop = Workshop(bench.drive, bench.folder, tmp_path / "workshop")
    source = parse_source("main.c", workshop.text.files["main.c"])
    found = list(mutations(source, {}, ["work"]))
    observation = Observation(workshop, tmp_path / "workshop" / "observed", found)
    observation.forget()
    recording = Rig(observation.image, bench.drive).run(scenario(0.07))
    plain = Rig(build_image(bench.drive, bench.folder), bench.drive).run(scenario(0.07))
    seen = observation.different()
    told = {(m.old_line, m.new_line): m in seen if m in observation.told else None for m in found}
    return told, recording.digest() == plain.digest()


def test_a_border_that_is_never_met_makes_no_difference(observed):
    """7 > 5 and 7 >= 5 are the same; 7 <= 5 is not."""
    told, _ = observed

    assert told["if (seven > 5U)", "if (seven >= 5U)"] is False
    assert told["if (seven > 5U)", "if (seven <= 5U)"] is True
    assert told["other = 5U;", "other = 6U;"] is True


def test_a_store_of_what_is_there_makes_no_difference(observed):
    """Left out, it would still be there: whole structures as well as numbers."""
    told, _ = observed

    assert told["kept = 3U;", ";"] is False
    assert told["to = *at;", ";"] is True
    assert told["to = from;", ";"] is False


def test_what_might_trap_or_has_effects_is_not_told(observed):
    """A divisor, an index, a call, a constant that no expression may stand for, a guard of a pointer."""
    told, _ = observed

    assert told["other = (uint16_t)(seven / 2U);", "other = (uint16_t)(seven / 1U);"] is None
    assert told["table[seven - 1U] = 9U;", "table[seven + 1U] = 9U;"] is None
    assert told["other = said(seven);", ";"] is None
    assert told["case 7U: say(seven); break;", "case 8U: say(seven); break;"] is None
    assert told["if (at != &from && at->b == 2U)", "if (at != &from || at->b == 2U)"] is None


def test_both_values_beside_each_other_change_no_bit(observed):
    """They take no virtual time."""
    _, same = observed

    assert same


def test_what_is_put_in_nests():
    """A statement around an expression, a block around both: each opens and closes in its turn."""
    from dryspin.mutate.telling import insertions, with_insertions

    source = parse_source("main.c", dedent("void f(void) { a = b + 1U; }").encode())
    found = list(mutations(source, {}))
    put, told = insertions(source, {m: k for k, m in enumerate(found)}, "seen")
    text = with_insertions(source.content, put).decode()

    assert told == set(found)
    assert text.count("(") == text.count(")")
    assert text.count("{") == text.count("}")
    assert "dryspin_was = a; a = (seen[" in text
    assert text.endswith("!= 0; } }")
