"""A firmware that crashes leaves Python, its memory and every later result as they were."""

import gc
import resource
from pathlib import Path

import pytest

from dryspin.errors import FirmwareError

from ..small_firmware import Bench, scenario

CRASHES = """
    #include "say.h"
    static volatile uint8_t *volatile nothing;
    static void (*volatile nowhere)(void);
    static volatile int zero, depth;
    static int deeper(int n)
    {
        volatile int here[16];
        here[n & 15] = n;
        return deeper(n + 1) + here[0];
    }
    void on_wrap(void)
    {
        *nothing = 1;
    }
    int main(void)
    {
        switch (port_store_read(0)) {
        case 0: *nothing = 1; break;
        case 1: depth = 1000 / zero; break;
        case 2: nowhere(); break;
        case 3: depth = deeper(0); break;
        case 4: if (zero == 0) __builtin_trap(); break;
        case 5: return 0;
        case 6: port_wrap_interrupt(1); break;
        default: break;
        }
        port_mark(20);
        SLEEP_FOREVER
    }
"""
KINDS = 7


def resident_kib() -> int:
    """Memory of this process that is in use now, KiB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() // 1024


def test_a_thousand_crashes_leave_memory_steady_and_later_results_the_same(bench: Bench) -> None:
    """Null write, division, wild call, endless recursion, trap, end of main, crash in a handler: in turn."""
    rig = bench.rig(CRASHES)
    scenarios = [scenario(0.1, store=f"{case:02x}") for case in range(KINDS)]
    quiet = scenario(0.1, store="ff")
    before = rig.run(quiet).digest()

    def crash(times: int) -> list[str]:
        kinds = []
        for k in range(times):
            with pytest.raises(FirmwareError) as raised:
                rig.run(scenarios[k % KINDS])
            kinds.append(raised.value.kind)
        return kinds

    crash(100)
    gc.collect()
    begun_kib = resident_kib()
    kinds = crash(1000)
    gc.collect()

    assert set(kinds) == {"crash", "stack overflow", "end of main"}
    assert rig.run(quiet).digest() == before
    assert resident_kib() - begun_kib < 4096
