"""Where the claims on the controller are sharp, and what is planted for those without a distance."""

from dryspin.recording import Mark, Reset, Signal, Vector
from dryspin.scenario import Fault

from .courtroom import Case, Plant
from .synthetic import Story
from .voyage import voyage

LOOP_S = 1.2


def loops(seconds: float) -> Story:
    """The code goes round in circles in a run; the watchdog ends it after `seconds`."""
    story = voyage(
        end_s=1.6,
        scenario={"faults": (Fault("endless loop", LOOP_S),)},
        steps_go_on_s=0.0,
        neutral_at_s=LOOP_S,
    )
    ends_s = LOOP_S + seconds
    story.edges = [edge for edge in story.edges if edge[0] < LOOP_S]
    story.edge(ends_s, Signal.RESET, Reset.WATCHDOG)
    story.stop(ends_s, Mark.OFF)
    return story


def _late_handler(us: float) -> Story:
    """One edge of the comparator, and the handler `us` later."""
    story = Story()
    at_s = 0.5
    story.edge(at_s - 1e-4, Signal.COMPARATOR, 0)
    story.edge(at_s - 9e-5, Signal.SENSE_EDGE, 1)
    story.edge(at_s - 8e-5, Signal.SENSE_IRQ, 1)
    story.edge(at_s, Signal.COMPARATOR, 1)
    story.edge(at_s + us * 1e-6, Signal.HANDLER, Vector.COMPARATOR_EDGE)
    story.edge(at_s + us * 1e-6, Signal.SENSE_IRQ, 0)
    return story


CASES = [
    Case("controller.loop_opens", "loop_s", loops),
    Case("controller.latency", "latency_us", _late_handler),
]


def _never_watched() -> Story:
    story = voyage()
    story.edge(0.0005, Signal.WATCHDOG, 0)
    return story


def _turned_off_in_a_run() -> Story:
    story = voyage()
    story.edge(1.2, Signal.WATCHDOG, 0)
    return story


def _bites_running_code() -> Story:
    story = voyage(neutral_at_s=1.1)
    story.edge(1.4, Signal.RESET, Reset.WATCHDOG)
    story.mark(1.465, Mark.OFF)
    return story


def _adc_left_on() -> Story:
    story = voyage()
    story.edge(1.0, Signal.CONVERTER, 1)
    return story


PLANTS = [
    Plant("controller.watched", _never_watched),
    Plant("controller.watched", _turned_off_in_a_run),
    Plant("controller.fed", _bites_running_code),
    Plant("controller.sighted", _adc_left_on),
]
