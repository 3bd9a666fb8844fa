"""Recordings made by hand: an ideal drive that does as it should, and as told otherwise.

No firmware and no plant is involved: the rotor turns as prescribed, the legs follow it at the ideal
angles, and every number that a limit speaks of can be set. What a monitor says about such a
recording is known beforehand.
"""

import math
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

from dryspin.drive import (
    Bridge,
    Calibration,
    Controller,
    Drive,
    Firmware,
    Heat,
    Load,
    Motor,
    Range,
    Sense,
    Supply,
    Throttle,
    Tone,
)
from dryspin.recording import EDGE, GATES, LEGS, STATE, Leg, Mark, Recording, Reset, Signal
from dryspin.recording.sixstep import (
    DRIVEN,
    OPEN_LEG,
    rises,
)
from dryspin.scenario import Scenario

F_CPU_HZ = 16e6
POLE_PAIRS = 7
FRAME_S = 0.02
STATE_S = 20e-6
CARRIER_S = 1e-3
"""Coarser than a real carrier, so that a recording stays small; no claim depends on it."""

SIXTH = math.pi / 3.0

CALL_S = 6 / F_CPU_HZ
"""Cost of one port call."""

WATCHDOG_MS = 128
"""On from the beginning, unless a story turns it off."""

SAID_ELSEWHERE = (Signal.HANDLER, Signal.RESET, Signal.WATCHDOG)

NEUTRAL_US, FORWARD_US, REVERSE_US = 1500.0, 1900.0, 1100.0


def thruster(**bridge: float) -> Drive:
    """The bow thruster's drive in numbers that are easy to reckon with."""
    exactly = Range.exactly
    rated = {"dead_time_ns": 500.0, "i_peak_max_a": 40.0, "v_max_v": 20.0, "high_on_max_s": 0.01} | bridge
    return Drive(
        path=Path("drive.toml"),
        name="bow thruster",
        firmware=Firmware(("*.c",), (".",), {}, ""),
        motor=Motor(exactly(1000.0), "no-load test", exactly(0.08), exactly(28e-6), 7, exactly(1.5e-5)),
        load=Load(Range(0.5e-7, 1e-7, 1.5e-7), exactly(3e-3), exactly(0.0)),
        bridge=Bridge(
            r_on_ohm=exactly(5e-3),
            v_f_v=exactly(0.7),
            chopping="high side",
            f_pwm_hz=31373.0,
            pull_downs=True,
            **rated,
        ),
        supply=Supply("pack", Range(9.6, 11.1, 12.6), exactly(0.025), True, exactly(470e-6)),
        sense=Sense(33e3, 10e3, Range(-0.04, 0.0, 0.04), exactly(5e-7)),
        controller=Controller("mega168", F_CPU_HZ, "crystal", 5.0, 0),
        throttle=Throttle(NEUTRAL_US, FORWARD_US, REVERSE_US, 40.0, 800.0, 2200.0),
        calibration=Calibration(1700.0, 20, ("high", "neutral", "low"), 10, 15.0, 2.0, 200.0, 700.0),
        tones=(
            Tone("ready", 32, (("C6", 120.0), ("", 60.0), ("E6", 120.0)), 30.0),
            Tone("stored", 35, (("C6", 100.0), ("E6", 100.0)), 30.0),
        ),
        heat=Heat(40.0, 6.0, 155.0, 30.0, 150.0, 50.0, 6.0),
    )


@dataclass
class Story:
    """A run as it is written down; times in s from power-on.

    speeds     rotor speed, rpm, linear between its points
    throttle   pulse width in us from a moment on; 0 = no pulse
    late_deg, crossing_late_deg  electrical angle by which steps and crossings come after the ideal one
    currents, voltages  of U and the bus at one state; current_spans from a moment to another
    alternating_deg  by which odd steps come later and even ones earlier
    """

    drive: Drive = field(default_factory=thruster)
    rest_deg: float = 0.0
    speeds: list[tuple[float, float]] = field(default_factory=lambda: [(0.0, 0.0)])
    throttle: list[tuple[float, float]] = field(default_factory=lambda: [(0.0, NEUTRAL_US)])
    late_deg: float = 0.0
    alternating_deg: float = 0.0
    crossing_late_deg: float = 0.0
    scenario: dict[str, object] = field(default_factory=dict)
    edges: list[tuple[float, int, int]] = field(default_factory=list)
    currents: list[tuple[float, float]] = field(default_factory=list)
    current_spans: list[tuple[float, float, float]] = field(default_factory=list)
    voltages: list[tuple[float, float]] = field(default_factory=list)
    end_s: float = 1.0

    def edge(self, t_s: float, signal: Signal, value: int) -> None:
        """One edge, in any order of time."""
        self.edges.append((t_s, int(signal), int(value)))

    def mark(self, t_s: float, mark: Mark) -> None:
        """The firmware says `mark`."""
        self.edge(t_s, Signal.MARK, mark)

    def legs(self, t_s: float, *states: int) -> None:
        """All three legs commanded at once."""
        for signal, state in zip(LEGS, states, strict=True):
            self.edge(t_s, signal, state)

    def drive_step(self, t_s: float, step: int) -> None:
        """One of the six patterns: first the leg to open, a call later the leg to close."""
        high, low = DRIVEN[step]
        self.edge(t_s, LEGS[OPEN_LEG[step]], Leg.OPEN)
        self.edge(t_s + CALL_S, LEGS[high], Leg.CHOPPED)
        self.edge(t_s + 2 * CALL_S, LEGS[low], Leg.LOW)

    def angle(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The rotor on a grid of `STATE_S`: time, electrical angle in rad, speed in rad/s."""
        t_s = np.arange(0.0, self.end_s + STATE_S / 2, STATE_S)
        times, rpm = zip(*sorted(self.speeds), strict=True)
        w_rad_s = np.interp(t_s, times, rpm) * math.pi / 30.0
        turned = np.concatenate(([0.0], np.cumsum((w_rad_s[1:] + w_rad_s[:-1]) / 2 * STATE_S)))
        return t_s, math.radians(self.rest_deg) + POLE_PAIRS * turned, w_rad_s

    def follow(self, from_s: float, to_s: float, mark: Mark, direction: int) -> list[tuple[float, int]]:
        """Steps at their ideal angles while the rotor turns in `direction`; in RUN with sensing.

        Returns the (moment, step) taken.
        """
        self.mark(from_s, mark)
        t_s, theta, _ = self.angle()
        inside = (t_s >= from_s) & (t_s <= to_s)
        t_s, ahead = t_s[inside], np.maximum.accumulate(theta[inside] * direction)
        taken = []
        first, last = (math.floor((ahead[k] / SIXTH) - 0.5) for k in (0, -1))
        for k in range(first - 1, last + 2):
            # Ahead in `direction`, border k lies at 30 + 60 k degrees. Forward, step k begins there;
            # in reverse the angle itself is -30 - 60 k, which is 210 + 60 n, mirrored, for n = 1 - k.
            step = k % 6 if direction > 0 else (1 - k) % 6
            border = (k + 0.5) * SIXTH
            late_deg = self.late_deg + (self.alternating_deg if step % 2 else -self.alternating_deg)
            begin = border + math.radians(late_deg)
            if begin <= ahead[0]:
                begin_s = from_s if begin + SIXTH > ahead[0] else None
            else:
                begin_s = float(np.interp(begin, ahead, t_s)) if begin < ahead[-1] else None
            if begin_s is None:
                continue
            self.drive_step(begin_s, step)
            taken.append((begin_s, step))
            if mark == Mark.RUN:
                self._sense(begin_s, step, direction, border + SIXTH / 2, ahead, t_s)
        return taken

    def _sense(
        self, at_s: float, step: int, direction: int, ideal: float, ahead: np.ndarray, t_s: np.ndarray
    ) -> None:
        """After a step: look at the open phase, wait for its edge, take the crossing in mid-step."""
        at_s += 4 * CALL_S
        self.edge(at_s, Signal.SENSE_LEG, OPEN_LEG[step])
        self.edge(at_s, Signal.SENSE_EDGE, bool(rises(step, direction)))
        crossing = ideal + math.radians(self.crossing_late_deg)
        if ahead[0] < crossing < ahead[-1]:
            crossing_s = float(np.interp(crossing, ahead, t_s))
            if crossing_s > at_s:
                self.edge(at_s + CALL_S, Signal.SENSE_IRQ, 1)
                self.mark(crossing_s, Mark.CROSSING)
                self.edge(crossing_s, Signal.SENSE_IRQ, 0)

    def stop(self, t_s: float, mark: Mark) -> None:
        """All legs open, and said so."""
        self.edge(t_s, Signal.SENSE_IRQ, 0)
        self.legs(t_s, Leg.OPEN, Leg.OPEN, Leg.OPEN)
        self.mark(t_s, mark)

    def recording(self, **changes: object) -> Recording:
        """The run, with initial edges, throttle pulses and FETs that follow the commands."""
        initial = [(0.0, int(signal), 0) for signal in Signal if signal not in SAID_ELSEWHERE]
        initial.append((0.0, int(Signal.RESET), int(Reset.POWER_ON)))
        initial.append((0.0, int(Signal.WATCHDOG), WATCHDOG_MS))
        rows = initial + self.edges + self._pulses()
        rows = [row for row in rows if row[0] <= self.end_s]
        rows += self._gates([row for row in rows if row[1] in LEGS])
        rows.sort(key=lambda row: (round(row[0] * F_CPU_HZ), 0))
        edges = np.zeros(len(rows), EDGE)
        edges["cycle"] = [round(t_s * F_CPU_HZ) for t_s, _, _ in rows]
        edges["signal"] = [signal for _, signal, _ in rows]
        edges["value"] = [value for _, _, value in rows]
        edges["pc"] = np.arange(len(rows)) + 1
        t_s, theta, w_rad_s = self.angle()
        states = np.zeros(len(t_s), STATE)
        states["t_s"], states["theta_rad"], states["w_rad_s"] = t_s, theta, w_rad_s
        states["v_bus_v"] = 11.1
        for name, points in (("i_u_a", self.currents), ("v_bus_v", self.voltages)):
            for at_s, value in points:
                states[name][np.searchsorted(t_s, at_s)] = value
        for from_s, to_s, amps in self.current_spans:
            states["i_u_a"][slice(*np.searchsorted(t_s, (from_s, to_s)))] = amps
        scenario = Scenario(
            seed=0,
            end_s=self.end_s,
            rest_deg=self.rest_deg,
            frame_ms=FRAME_S * 1e3,
            throttle_us=tuple(sorted(self.throttle)),
            **self.scenario,  # type: ignore[arg-type]
        )
        values: dict[str, object] = {
            "edges": edges,
            "states": states,
            "f_cpu_hz": F_CPU_HZ,
            "end_cycle": round(self.end_s * F_CPU_HZ),
            "drive": self.drive,
            "scenario": scenario,
            "image_digest": "synthetic",
            "lines": lambda pc: f"edge {pc - 1}",
        }
        return Recording(**(values | changes))  # type: ignore[arg-type]

    def _pulses(self) -> list[tuple[float, int, int]]:
        scenario = Scenario(0, self.end_s, 0.0, FRAME_S * 1e3, tuple(sorted(self.throttle)))
        return [
            row
            for rise_s, width_us in scenario.pulses()
            for row in (
                (rise_s, int(Signal.THROTTLE), 1),
                (rise_s + width_us * 1e-6, int(Signal.THROTTLE), 0),
            )
        ]

    def _gates(self, commands: list[tuple[float, int, int]]) -> list[tuple[float, int, int]]:
        rows = []
        for leg, gate in enumerate(GATES):
            mine = sorted((row for row in commands if row[1] == LEGS[leg]), key=lambda row: row[0])
            mine.append((self.end_s, 0, Leg.OPEN))
            now = 0
            for (from_s, _, state), (to_s, _, _) in pairwise(mine):
                fets = {Leg.OPEN: 0, Leg.LOW: 2, Leg.HIGH: 1, Leg.CHOPPED: 1}[Leg(state)]
                changes = [(from_s, fets)]
                if state == Leg.CHOPPED:
                    for k in range(math.floor(from_s / CARRIER_S) + 1, math.ceil(to_s / CARRIER_S)):
                        changes += [(k * CARRIER_S, 0), ((k + 0.1) * CARRIER_S, 1)]
                for at_s, value in changes:
                    if value != now and at_s < to_s:
                        rows.append((at_s, int(gate), value))
                        now = value
        return rows
