"""A handler between the bytes of an access: the code gets a value that nobody ever wrote."""

from dryspin.faults import Fault, Inspector
from dryspin.faults.fault import TORN_READ, TORN_WRITE

from ..small_firmware import Bench, Told, scenario

SHARED = """
    #include "say.h"
    static volatile uint16_t width = 0x00FF;
    static volatile uint16_t wanted = 0x1122;
    static uint8_t told;
    void on_wrap(void)
    {
        if (wanted != 0x1122 && wanted != 0x3344 && !told) {
            told = 1;
            port_mark(50);
            say(wanted);
        }
        width = width == 0x00FF ? 0x0100 : 0x00FF;
    }
    int main(void)
    {
        port_wrap_interrupt(1);
        port_interrupts_restore(1);
        for (;;) {
            uint16_t got = width; /* read */
            if (got != 0x00FF && got != 0x0100) {
                port_mark(40);
                say(got);
            }
            wanted = 0x3344; /* write */
            port_interrupts_off();
            port_idle();
        }
    }
"""


def torn_fault(bench: Bench, kind: str) -> tuple[Inspector, Fault]:
    """The inspector of the firmware above and its fault of that kind."""
    bench.image(SHARED)
    inspector = Inspector(bench.drive, bench.folder)
    code = inspector.judge(inspector.evidence([scenario(0.3)]))
    return inspector, next(fault for fault in code.faults if fault.kind == kind)


def test_a_read_torn_on_purpose_gives_a_value_that_was_never_written(bench: Bench) -> None:
    """0x00FF becomes 0x0100 between the bytes: the low one of the old, the high one of the new."""
    inspector, fault = torn_fault(bench, TORN_READ)
    recording, torn = inspector.torn(scenario(0.3), fault)
    quiet, _ = inspector.torn(scenario(0.3), Fault(TORN_READ, "", fault.place, ""))

    assert fault.place.line == bench.place("/* read */")
    assert torn is not None
    assert (torn.before, torn.between, torn.after) == (0x00FF, 0x01FF, 0x0100)
    assert Told(recording).numbers_after(40)[0] == 0x01FF
    assert 40 not in [value for _, value in Told(quiet).marks]


def test_a_write_torn_on_purpose_is_seen_half_written(bench: Bench) -> None:
    """0x1122 becomes 0x3344; the handler sees 0x1144, and the write lands whole."""
    inspector, fault = torn_fault(bench, TORN_WRITE)
    recording, torn = inspector.torn(scenario(0.3), fault)

    assert fault.place.line == bench.place("/* write */")
    assert torn is not None
    assert (torn.before, torn.between, torn.after) == (0x1122, 0x1144, 0x3344)
    assert Told(recording).numbers_after(50)[0] == 0x1144


def test_an_access_that_is_not_met_is_said_to_be_none(bench: Bench) -> None:
    """Beyond the end of the run."""
    inspector, fault = torn_fault(bench, TORN_READ)

    assert inspector.torn(scenario(0.1), fault, from_s=0.2)[1] is None
