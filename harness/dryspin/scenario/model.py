"""What happens to the drive, from power-on: plain data, small enough to read.

Two kinds of trace: the throttle goes in steps (each pulse has the width last set), everything
else is linear between its points and constant beyond the last one.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from dryspin.drive.section import Section
from dryspin.errors import ScenarioError
from dryspin.scenario import schema

Trace = tuple[tuple[float, float], ...]
"""Breakpoints (time in s, value), the first at 0 s, times strictly increasing."""

LINEAR_TRACES = ("supply_v", "load_factor", "load_nm", "speed_rpm", "water_rpm", "comparator_noise_mv")


LEAD_OPEN = "lead open"


class ContradictionError(ScenarioError):
    """Two values of a scenario contradict each other; `path` is the key to blame.

    Remedy: the message says which of the two to change.
    """

    def __init__(self, path: tuple[str | int, ...], text: str) -> None:
        super().__init__(f"scenario: {text}")
        self.path = path
        self.text = text


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that breaks into the run: its kind, its moment (s), its length (ms), its phase."""

    kind: str
    at_s: float
    for_ms: float = 0.0
    phase: str = ""

    def as_table(self) -> dict[str, Any]:
        """The fault as a table of a file; what it does not need is left out."""
        length = {"for_ms": self.for_ms} if self.for_ms else {}
        return {
            "kind": self.kind,
            "at_s": self.at_s,
            **length,
            **({"phase": self.phase} if self.phase else {}),
        }


@dataclass(frozen=True)
class Scenario:
    """One scenario. An empty linear trace means the default of the table below.

    Checked when built, from a file or not: `ScenarioError` for a value outside its bounds, points
    out of order, an unknown part or fault, an event after the end.

    seed                 noise is a function of (seed, time)
    end_s                length of the run, s from power-on, the arming rite included
    rest_deg             rotor angle at power-on, electrical degrees
    frame_ms             period of the throttle pulses
    throttle_us          pulse widths, us, steps; 0 = no pulse
    supply_v             source voltage, V; empty: the drive's nominal supply
    load_factor          factor on the propeller's torque; empty: 1
    load_nm              torque added to the load, Nm, against forward; empty: 0
    speed_rpm            speed of a driven rotor, rpm, mechanical; empty: the rotor is free
    water_rpm            speed at which the propeller turns freely in the water, rpm; empty: 0
    comparator_noise_mv  standard deviation of the comparator's noise, mV; empty: 0
    parts                factors on the drive's nominal values (`kv`, `r_phase`, ...) and absolute
                         values (`offset_v`, `delay_s`, `winding_c`)
    store                first bytes of the byte store at power-on, hexadecimal; empty: all erased
    faults               in the order of time
    """

    seed: int
    end_s: float
    rest_deg: float
    frame_ms: float
    throttle_us: Trace
    supply_v: Trace = ()
    load_factor: Trace = ()
    load_nm: Trace = ()
    speed_rpm: Trace = ()
    water_rpm: Trace = ()
    comparator_noise_mv: Trace = ()
    parts: Mapping[str, float] = field(default_factory=dict, hash=False)
    store: str = ""
    faults: tuple[Fault, ...] = ()

    def __post_init__(self) -> None:
        section = _section("", {key.name: getattr(self, key.name) for key in schema.TOP})
        for name, value in section.read(schema.TOP).items():
            object.__setattr__(self, name, value)
        parts = _section("parts", self.parts)
        parts.refuse_unknown(tuple(schema.PARTS.values()), noun="part")
        # In the order of the declaration, so that equal scenarios are written alike.
        taken = {name: parts.take(key) for name, key in schema.PARTS.items() if name in self.parts}
        object.__setattr__(self, "parts", taken)
        faults = tuple(Fault(**_section("fault", f.as_table()).read(schema.FAULT)) for f in self.faults)
        object.__setattr__(self, "faults", faults)
        for contradiction in _contradictions(self):
            raise contradiction

    def to_toml(self) -> str:
        """The scenario as a file; reading it gives an equal scenario, to the last bit."""
        from dryspin.scenario.text import toml_of

        return toml_of(self)

    def as_table(self) -> dict[str, Any]:
        """The scenario as plain tables and lists, with the format's version; absent = default."""
        table: dict[str, Any] = {schema.VERSION_KEY: schema.VERSION}
        for key in schema.TOP:
            value = getattr(self, key.name)
            if isinstance(value, tuple):
                if value:
                    table[key.name] = [list(point) for point in value]
            elif value != "":
                table[key.name] = value
        if self.parts:
            table["parts"] = dict(self.parts)
        if self.faults:
            table["fault"] = [fault.as_table() for fault in self.faults]
        return table

    @property
    def events(self) -> int:
        """Number of events: breakpoints after t = 0, and faults."""
        traces = (self.throttle_us, *(getattr(self, name) for name in LINEAR_TRACES))
        return sum(1 for trace in traces for t_s, _ in trace if t_s > 0.0) + len(self.faults)

    def pulses(self) -> list[tuple[float, float]]:
        """Throttle pulses as (rising edge in s, width in us), frames without a pulse left out.

        The first edge rises half a frame after power-on, the others a frame apart. A pulse has
        the width set at the moment it rises.
        """
        pulses = []
        steps, at = self.throttle_us, 0
        k = 0
        # The product, not a running sum: edges must not drift with the number of frames.
        while (rise_s := (2 * k + 1) * self.frame_ms / 2000.0) < self.end_s:
            while at + 1 < len(steps) and steps[at + 1][0] <= rise_s:
                at += 1
            if (width_us := steps[at][1]) > 0.0:
                pulses.append((rise_s, width_us))
            k += 1
        return pulses


def _section(name: str, values: Mapping[str, Any]) -> Section:
    return Section(name, values, lambda key: "scenario", ScenarioError)


def _contradictions(scenario: Scenario) -> Iterator[ContradictionError]:
    end_s = scenario.end_s
    for name in ("throttle_us", *LINEAR_TRACES):
        trace: Trace = getattr(scenario, name)
        if trace and trace[-1][0] > end_s:
            yield ContradictionError(
                (name,),
                f"{name} has a point at {trace[-1][0]!r} s, after the end at end_s = {end_s!r} s. "
                "Remove the point or move the end.",
            )
    for t_s, width_us in scenario.throttle_us:
        if width_us >= 1000.0 * scenario.frame_ms:
            yield ContradictionError(
                ("throttle_us",),
                f"throttle_us has a pulse of {width_us!r} us at {t_s!r} s, as long as its frame of "
                f"frame_ms = {scenario.frame_ms!r} ms. Shorten the pulse or lengthen the frame.",
            )
    for k, fault in enumerate(scenario.faults):
        if fault.at_s >= end_s:
            yield ContradictionError(
                ("fault", k, "at_s"),
                f"[fault] at_s = {fault.at_s!r} s is not before the end at end_s = {end_s!r} s. "
                "Remove the fault or move the end.",
            )
        if k and fault.at_s < scenario.faults[k - 1].at_s:
            yield ContradictionError(
                ("fault", k, "at_s"),
                f"[fault] at_s = {fault.at_s!r} s comes after a fault at {scenario.faults[k - 1].at_s!r} s. "
                "Sort the faults by time.",
            )
        if not fault.for_ms and fault.kind not in schema.MOMENTARY_FAULTS:
            yield ContradictionError(
                ("fault", k, "for_ms"),
                f"[fault] for_ms is missing: a {fault.kind} has a length. Give for_ms in ms.",
            )
        if fault.for_ms and fault.kind in schema.MOMENTARY_FAULTS:
            yield ContradictionError(
                ("fault", k, "for_ms"),
                f"[fault] for_ms = {fault.for_ms!r} ms: a {fault.kind} is a moment. Remove for_ms.",
            )
        yield from _lead_problems(k, fault)


def _lead_problems(k: int, fault: Fault) -> Iterator[ContradictionError]:
    if (fault.kind == LEAD_OPEN) != bool(fault.phase):
        given = f'phase = "{fault.phase}"' if fault.phase else "phase is missing"
        yield ContradictionError(
            ("fault", k, "phase" if fault.phase else "kind"),
            f"[fault] {given}: a {fault.kind} "
            + (
                'has none. Remove it, or write kind = "lead open".'
                if fault.phase
                else 'has one. Give "U", "V" or "W".'
            ),
        )
    if fault.kind == LEAD_OPEN and fault.at_s > 0.0:
        yield ContradictionError(
            ("fault", k, "at_s"),
            f"[fault] at_s = {fault.at_s!r} s: a lead is open from power-on or not at all, since a lead that "
            "opens under current draws an arc, which is not modelled. Write at_s = 0.",
        )


def step_value(trace: Trace, t_s: float) -> float:
    """Value of a trace that goes in steps: that of the last breakpoint at or before `t_s`."""
    return trace[max(bisect_right(trace, t_s, key=_time) - 1, 0)][1]


def linear_value(trace: Trace, t_s: float, default: float) -> float:
    """Value at `t_s` of a trace that is linear between its points; `default` where it is empty.

    Constant beyond the last point.
    """
    if not trace:
        return default
    k = bisect_right(trace, t_s, key=_time)
    if k == 0:
        return trace[0][1]
    if k == len(trace):
        return trace[-1][1]
    (t0_s, v0), (t1_s, v1) = trace[k - 1], trace[k]
    return v0 + (v1 - v0) * ((t_s - t0_s) / (t1_s - t0_s))


def _time(point: tuple[float, float]) -> float:
    return point[0]
