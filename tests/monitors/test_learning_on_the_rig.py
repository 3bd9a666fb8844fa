"""A firmware of a few lines that learns a stick's range, on the rig: pulses, store and cuts as they are."""

from dataclasses import replace

import pytest

from dryspin.drive import Calibration
from dryspin.monitors import Status
from dryspin.monitors.learning import CUT, STORED, learnings
from dryspin.monitors.ranges import epochs
from dryspin.recording import Recording
from dryspin.scenario import Fault

from ..small_firmware import Bench
from .courtroom import broken, verdicts

CALIBRATION = Calibration(1700.0, 20, ("high", "neutral", "low"), 10, 15.0, 5.0, 200.0, 700.0)

LEARNER = """
    #include "drive_port.h"

    #define HOLD 10U
    #define STILL_TICKS 30U

    static volatile uint16_t rise_ticks;
    static volatile uint16_t width_ticks;
    static volatile uint8_t fresh;
    static uint8_t rising;

    void on_throttle_edge(void)
    {
        uint16_t at = port_throttle_ticks();

        if (rising != 0U) {
            rise_ticks = at;
            rising = 0U;
            port_throttle_edge(PORT_FALLING);
        } else {
            width_ticks = (uint16_t)(at - rise_ticks);
            fresh = 1U;
            rising = 1U;
            port_throttle_edge(PORT_RISING);
        }
    }

    static uint16_t pulse(void)
    {
        for (;;) {
            (void)port_interrupts_off();
            if (fresh != 0U) {
                fresh = 0U;
                port_interrupts_restore(1U);
                return width_ticks;
            }
            port_idle();
        }
    }

    /* The next position below `under` that is held still. */
    static uint16_t position(uint16_t under)
    {
        uint16_t least = 0U, most = 0U;
        uint8_t held = 0U;

        for (;;) {
            uint16_t width = pulse();

            if (held == 0U || width > (uint16_t)(least + STILL_TICKS) ||
                (uint16_t)(width + STILL_TICKS) < most || width >= under) {
                held = 0U;
                least = width;
                most = width;
            }
            least = (width < least) ? width : least;
            most = (width > most) ? width : most;
            held++;
            if (held >= HOLD && width < under)
                return width;
        }
    }

    static void put(uint16_t at, uint8_t value)
    {
        (void)port_interrupts_off();
        port_store_write(at, value);
        port_interrupts_restore(1U);
        while (port_store_busy() != 0U)
            (void)pulse();
    }

    static void learn(void)
    {
        uint16_t seen[3];
        uint8_t k;

        port_mark(PORT_MARK_CALIBRATING);
        seen[0] = position(5000U);
        seen[1] = position((uint16_t)(seen[0] - 400U));
        seen[2] = position((uint16_t)(seen[1] - 400U));
        for (k = 0U; k < 3U; k++)
            put(k, (uint8_t)(seen[k] >> 4));
        port_mark(PORT_MARK_STORED);
    }

    int main(void)
    {
        uint8_t high = 0U;

        rising = 1U;
        port_throttle_edge(PORT_RISING);
        port_throttle_interrupt(1U);
        port_mark(PORT_MARK_OFF);
        if (ENTERED_FROM(port_reset_cause())) {
            while (high < ENTER && pulse() > 3400U)
                high++;
            if (high == ENTER)
                learn();
            port_mark(PORT_MARK_OFF);
        }
        for (;;)
            (void)pulse();
    }
"""

HIGH_S, MIDDLE_S, LOW_S = 0.9, 1.3, 1.7
"""When the stick goes to the middle, down, and back to the middle."""

STICK = ((0.0, 1800.0), (HIGH_S, 1500.0), (MIDDLE_S, 1200.0), (LOW_S, 1500.0))


def learn(
    bench: Bench, *, enter: int = 20, entered_from: str = "(cause) == PORT_RESET_POWER_ON", **changes: object
) -> Recording:
    """The firmware with its rite of `enter` pulses, on the rig for 2 s."""
    bench.drive = replace(bench.drive, calibration=CALIBRATION)
    text = f"#define ENTER {enter}U\n#define ENTERED_FROM(cause) ({entered_from})\n" + LEARNER
    return bench.run(text, end_s=2.0, **{"throttle_us": STICK, **changes})


def learning_found(run: Recording) -> set[str]:
    """Broken claims of the family."""
    return {name for name in broken(verdicts(run)) if name.startswith("calibration.")}


def test_learning_as_declared_is_held_and_its_range_is_read_from_the_pin(bench):
    """Entered by 20 pulses from the first one seen, three positions, three bytes."""
    run = learn(bench)
    (found,) = learnings(run)
    (stick,) = found.sane

    assert learning_found(run) == set()
    assert found.outcome == STORED
    assert stick.neutral_us == pytest.approx(1500.0, abs=1.0)
    assert (stick.forward_full_us, stick.reverse_full_us) == pytest.approx((1800.0, 1200.0), abs=1.0)
    assert {
        verdicts(run)[f"calibration.{c}"].status for c in ("entry", "leaving", "sane_range", "writes")
    } == {Status.HELD}


def test_a_byte_on_its_way_when_the_power_goes_leaves_either_range(bench):
    """Cut 5 ms after the first write: learning ends with the reset, and the range is in doubt."""
    whole = learn(bench)
    (found,) = learnings(whole)
    assert found.written_s is not None
    run = learn(bench, faults=(Fault("power cut", round(found.written_s + 5e-3, 4), 20.0),))
    (cut,) = learnings(run)

    assert learning_found(run) == set()
    assert cut.outcome == CUT
    assert [len(epoch.ranges) for epoch in epochs(run, [cut])] == [1, 2]
    assert verdicts(run)["calibration.old_or_new"].status == Status.CANNOT_TELL


def test_learning_after_an_external_reset_is_found(bench):
    """Reset 0.3 s after power-on with the stick up: the firmware does not look at the cause."""
    run = learn(bench, entered_from="(cause) != 0U", faults=(Fault("reset", 0.3),))

    assert learning_found(run) == {"calibration.entry"}
    assert "external reset" in verdicts(run)["calibration.entry"].text


def test_learning_after_too_few_pulses_is_found(bench):
    """16 of 20: a fifth short."""
    run = learn(bench, enter=16)
    verdict = verdicts(run)["calibration.entry"]

    assert learning_found(run) == {"calibration.entry"}
    assert verdict.seen == 16.0


def test_learning_with_a_turning_rotor_is_found(bench):
    """Somebody spins the rotor at 2000 rpm while the stick is up, and on through the writing."""
    run = learn(bench, speed_rpm=((0.0, 2000.0),))

    assert learning_found(run) == {"calibration.entry", "calibration.writes"}
