"""What an edge of a recording can be: signals, their values, and the layout of the two arrays.

The codes of legs and marks are those of `port/drive_port.h`; a test holds the two together.
"""

from enum import IntEnum
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryspin.errors import RecordingError

EDGE: Final = np.dtype(
    [
        ("cycle", "<i8"),  # CPU cycles since power-on
        ("pc", "<u4"),  # return address of the port call that acted, offset in the firmware; 0 = none
        ("caller", "<u4"),  # return address of the function that made the port call
        ("value", "<i4"),
        ("signal", "u1"),
        ("context", "u1"),  # vector number of the running handler, 0 = main line
        ("pad", "<u2"),
    ]
)
STATE: Final = np.dtype(
    [
        ("t_s", "<f8"),
        ("theta_rad", "<f8"),  # electrical, unwrapped, of the true rotor
        ("i_u_a", "<f4"),
        ("i_v_a", "<f4"),  # i_w = -(i_u + i_v): there is no neutral wire
        ("w_rad_s", "<f4"),  # mechanical
        ("v_bus_v", "<f4"),
    ]
)


class Signal(IntEnum):
    """What changed. GATE_* are the FETs themselves (bit 0 high FET on, bit 1 low FET on), after chopping.

    LEG_* are commands of the firmware (`Leg`), written on change only; DUTY counts 0..255;
    SENSE_LEG 0..2; SENSE_EDGE 0 falls below, 1 rises above the neutral; SENSE_IRQ 0/1; COMPARATOR
    1 = selected phase above neutral, as software sees it; HANDLER the vector on entry, 0 on
    return; THROTTLE the pin's level; MARK a `Mark`; RESET the cause, a `Reset`; STORE a write that
    begins, address << 8 | value; STORE_BUSY 1 while one is under way; CONVERTER 1 while the ADC is on;
    WATCHDOG its time-out in ms while it is on, else 0; SERIAL a byte that leaves the serial output;
    OVER_CURRENT 1 while the board's current limit pulls its pin, where one is fitted; REGISTER, only of
    builds that are made to be compared, a write of the firmware to one, address << 16 | value.
    """

    GATE_U = 0
    GATE_V = 1
    GATE_W = 2
    LEG_U = 3
    LEG_V = 4
    LEG_W = 5
    DUTY = 6
    SENSE_LEG = 7
    SENSE_EDGE = 8
    SENSE_IRQ = 9
    COMPARATOR = 10
    HANDLER = 11
    THROTTLE = 12
    MARK = 13
    RESET = 14
    STORE = 15
    STORE_BUSY = 16
    CONVERTER = 17
    WATCHDOG = 18
    SERIAL = 19
    OVER_CURRENT = 20
    REGISTER = 21


GATES: Final = (Signal.GATE_U, Signal.GATE_V, Signal.GATE_W)
LEGS: Final = (Signal.LEG_U, Signal.LEG_V, Signal.LEG_W)
LEG_NAMES: Final = "UVW"


class Leg(IntEnum):
    """State of one leg as commanded: both FETs off, low FET on, high FET on, high FET chopped."""

    OPEN = 0
    LOW = 1
    HIGH = 2
    CHOPPED = 3


class Mark(IntEnum):
    """What the firmware says it is doing. Below 16: a state until the next such; others: a moment."""

    OFF = 0
    ARMED = 1
    TONE = 2
    PRECHARGE = 3
    ALIGN = 4
    RAMP = 5
    RUN = 6
    BRAKE = 7
    COAST = 8
    GIVEN_UP = 9
    CALIBRATING = 10
    CROSSING = 16
    STORED = 17
    NOT_STORED = 18
    TONE_FIRST = 32


class Vector(IntEnum):
    """Which handler runs, by the part's vector number counted from 1 (data sheet, "Interrupt Vectors")."""

    OVER_CURRENT = 2
    THROTTLE_EDGE = 11
    COMPARE_A = 12
    COMPARE_B = 13
    WRAP = 14
    CONVERTER_DONE = 22
    COMPARATOR_EDGE = 24


class Reset(IntEnum):
    """Why the controller started."""

    POWER_ON = 1
    EXTERNAL = 2
    BROWN_OUT = 4
    WATCHDOG = 8


HIGH_FET: Final = 1
LOW_FET: Final = 2


def frozen_array(array: NDArray[Any], layout: np.dtype[Any], name: str) -> NDArray[Any]:
    """A read-only view of `array`; raises `RecordingError` unless it is one row of `layout` a record."""
    if array.dtype != layout or array.ndim != 1:
        raise RecordingError(
            f"{name} has the layout {array.dtype} with {array.ndim} dimensions; a recording of this "
            f"version needs one dimension of {layout}. Record the run again."
        )
    view = array.view()
    view.flags.writeable = False
    return view


def mark_name(mark: int) -> str:
    """A state mark in words, as in "while ramp is marked"."""
    known = mark in Mark._value2member_map_
    return f"{Mark(mark).name.lower().replace('_', ' ') if known else mark} is marked"
