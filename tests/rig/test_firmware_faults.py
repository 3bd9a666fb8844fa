"""Firmware that crashes, hangs or ends: an error that names the place, and everything goes on."""

import pytest

from dryspin.errors import RigError

from ..small_firmware import Bench, Told, scenario

IN_MAIN = """
    #include "say.h"
    static volatile uint8_t *volatile nothing;
    static void (*volatile nowhere)(void);
    static volatile int zero, depth;
    static int deeper(int n)
    {{
        volatile int here[16];
        here[n & 15] = n;
        return deeper(n + 1) + here[0];
    }}
    int main(void)
    {{
        for (int k = 0; k < 100; k++)
            port_ticks();
        nothing = 0; zero = 0; nowhere = 0; depth = 0;
        {fault}; /* here */
        SLEEP_FOREVER
    }}
    int (*unused)(int) = deeper;
"""

CRASHES = {
    "null write": ("*nothing = 1", "a bad address; look for a null or wild pointer"),
    "null read": ("depth = *nothing", "a bad address"),
    "null call": ("nowhere()", "a bad address"),
    "division by 0": ("depth = 1000 / zero", "an arithmetic fault; look for a division by 0"),
    "trap": ("if (zero == 0) __builtin_trap()", "an illegal instruction"),
}


def error_of(bench: Bench, text: str, block_cycles: int = 0) -> str:
    """What the rig says of a firmware that cannot be run."""
    with pytest.raises(RigError) as raised:
        bench.run(text, end_s=0.2, block_cycles=block_cycles)
    return str(raised.value)


@pytest.mark.parametrize("kind", CRASHES)
def test_a_crash_in_the_main_line_names_line_function_and_virtual_time(bench: Bench, kind: str) -> None:
    """65 ms of start-up and 100 calls of 4 cycles: 65.025 ms."""
    fault, what = CRASHES[kind]
    message = error_of(bench, IN_MAIN.format(fault=fault))

    assert message.startswith(
        f"the firmware crashed at {bench.place('/* here */')} in main() after 0.065025 s"
    )
    assert f"in the main line: {what}" in message


@pytest.mark.parametrize("kind", CRASHES)
def test_a_crash_in_a_handler_names_the_handler(bench: Bench, kind: str) -> None:
    """The stack is the main line's, the place is not. Vector 14 is the tick wrap, 32.768 ms after start."""
    fault, what = CRASHES[kind]
    message = error_of(
        bench,
        f"""
        #include "say.h"
        static volatile uint8_t *volatile nothing;
        static void (*volatile nowhere)(void);
        static volatile int zero, depth;
        void on_wrap(void)
        {{
            nothing = 0; zero = 0; nowhere = 0; depth = 0;
            {fault}; /* here */
        }}
        int main(void)
        {{
            port_wrap_interrupt(1);
            SLEEP_FOREVER
        }}
    """,
    )

    place = bench.place("/* here */")
    assert message.startswith(
        f"the firmware crashed at {place} in on_wrap() after 0.097768 s of virtual time"
    )
    assert f"in the handler of vector 14: {what}" in message


def test_recursion_without_end_is_a_stack_overflow(bench: Bench) -> None:
    """The guard below the firmware's stack is hit, not the host's memory."""
    message = error_of(bench, IN_MAIN.format(fault="depth = deeper(0)"))

    assert message.startswith("the firmware's stack overflowed at main.c:")
    assert "in deeper() after 0.065025 s of virtual time, in the main line" in message
    assert "look for a recursion without end" in message


HANGS = {"with a body": "for (;;) depth++", "empty": "for (;;) {}", "on a flag": "while (!zero) {}"}


@pytest.mark.parametrize("kind", HANGS)
def test_a_loop_without_a_port_call_is_a_hang(bench: Bench, kind: str) -> None:
    """Block by block no time passes; the empty loop, which carries no hook, is ended by the wall clock."""
    message = error_of(bench, IN_MAIN.format(fault=HANGS[kind]))

    place = bench.place("/* here */")
    assert message.startswith(f"the firmware hangs at {place} in main() after 0.065025 s of virtual time")
    assert "wait in port_idle(), or set block_cycles in drive.toml" in message


@pytest.mark.parametrize("loop", ["for (;;) n++;", "for (;;) {}"])
def test_firmware_that_never_calls_the_port_is_told_so(bench: Bench, loop: str) -> None:
    """The commonest first try: written for a part whose time passes by itself."""
    message = error_of(
        bench,
        f"""
        #include "say.h"
        static volatile int n;
        int main(void)
        {{
            {loop} /* here */
            return n;
        }}
    """,
    )

    place = bench.place("/* here */")
    assert message.startswith(
        f"the firmware never calls the port: virtual time stands still in plain code at {place} in main()"
    )


def test_a_hang_in_a_handler_names_the_handler(bench: Bench) -> None:
    """Waiting in a handler for what another handler should do is the classic."""
    message = error_of(
        bench,
        """
        #include "say.h"
        static volatile uint8_t done;
        void on_compare_b(void) { done = 1; }
        void on_compare_a(void)
        {
            while (!done) {} /* here */
        }
        int main(void)
        {
            port_compare_a(1000);
            port_compare_a_interrupt(1);
            port_compare_b(1100);
            port_compare_b_interrupt(1);
            SLEEP_FOREVER
        }
    """,
    )

    assert f"at {bench.place('/* here */')} in on_compare_a() after 0.065500 s" in message
    assert "in the handler of vector 12" in message


def test_main_must_not_return(bench: Bench) -> None:
    """drive_port.h: never returns. The part would loop with interrupts off and the legs as they stand."""
    message = error_of(
        bench,
        """
        #include "say.h"
        int main(void)
        {
            port_leg(PORT_U, PORT_LOW);
            return 0;
        }
    """,
    )

    assert message.startswith("main() returned after 0.065000 s of virtual time")
    assert message.endswith("End main() in a loop that waits in port_idle()")


FAULT_ON_A_PULSE = """
    #include "say.h"
    static volatile uint8_t *volatile nothing;
    static volatile uint8_t count;
    static volatile uint8_t kept __attribute__((section(".noinit")));
    void on_throttle_edge(void)
    {{
        {fault};
    }}
    int main(void)
    {{
        port_mark(kept);
        port_throttle_interrupt(1);
        port_compare_a_interrupt(1);
        port_duty(100);
        port_carriers_start(3);
        port_leg(PORT_U, PORT_CHOPPED);
        port_leg(PORT_V, PORT_LOW);
        for (;;) {{
            port_mark(count++);
            kept++;
            port_interrupts_off();
            port_idle();
        }}
    }}
"""


@pytest.mark.parametrize("fault", ["*nothing = 1", "for (;;) count++", "for (;;) {}"])
def test_after_a_fault_the_same_image_runs_as_if_nothing_had_happened(bench: Bench, fault: str) -> None:
    """Memory, peripherals, plant and stack of a run begin anew, however the one before has ended."""
    rig = bench.rig(FAULT_ON_A_PULSE.format(fault=fault))
    quiet, pulses = scenario(0.2), scenario(0.2, throttle_us=((0.0, 1500.0),))

    before = rig.run(quiet)
    for _ in range(3):
        with pytest.raises(RigError):
            rig.run(pulses)
    after = rig.run(quiet)

    assert before.digest() == after.digest()
    assert len(Told(after).marks) > 2


def test_a_fault_of_one_image_leaves_another_alone(bench: Bench) -> None:
    """Several firmwares stand on one process's bench; their signal handlers take turns."""
    good = bench.rig(FAULT_ON_A_PULSE.format(fault="count++"))
    before = good.run(scenario(0.2)).digest()
    error_of(bench, IN_MAIN.format(fault="*nothing = 1"))

    assert good.run(scenario(0.2)).digest() == before
