"""Claims before a capture: judged where it shows enough, "not seen" where it does not.

A verdict nearer to its limit than the capture can resolve is "cannot tell", never "held", and never
"broken" either. What rests on estimates (patterns from voltages, the rotor from crossings) says so.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from dryspin.capture.gate_steps import has_all_gates
from dryspin.capture.mapping import GATE_SIGNALS
from dryspin.capture.measured import pulse_widths_ns
from dryspin.capture.reading import NS_PER_S, Reading
from dryspin.capture.rebuilt import as_recording
from dryspin.drive import Claims
from dryspin.monitors import Evidence, Limits, Needs, Status, claims_of, known_claims
from dryspin.monitors.verdict import Ruling
from dryspin.recording import GATES, Recording, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET

NOT_SEEN: Final = "not seen"

ORDER, DIRECTION, ANGLE = "commutation.order", "commutation.direction", "commutation.angle"
ESTIMATED: Final = (ORDER, DIRECTION, ANGLE)
"""Claims about what only the rig sees, judged here on estimates."""

LOSS: Final = "arming.loss"
"""Judged on gates and throttle; what the firmware says about a tone is not needed where nothing is on."""

DRIVES_NS: Final = 1e6
"""Gates that go off within a millisecond of a step were driving, not sounding a tone."""

_UNIT_NS: Final = {"ns": 1.0, "us": 1e3, "ms": 1e6, "s": NS_PER_S}

BORDER_CARRIERS: Final = 2.0
"""A FET that is on for less at the border of a capture is just being chopped there."""


@dataclass(frozen=True, slots=True)
class CaptureVerdict:
    """One claim before a capture: a `Verdict` in the file's own time, and whether it rests on estimates.

    `status` is one of held, broken, not exercised, cannot tell, not seen. `doubt` is what the capture
    cannot resolve, in `unit`, None where that is not a matter of the unit.
    """

    claim: str
    status: str
    margin: float | None = None
    moment_s: float | None = None
    limit: float | None = None
    seen: float | None = None
    unit: str = ""
    text: str = ""
    estimate: bool = False
    doubt: float | None = None

    @property
    def told(self) -> bool:
        """Whether anything was told."""
        return self.status in (Status.HELD, Status.BROKEN)


def judge_capture(reading: Reading, claims: Claims | None = None) -> list[CaptureVerdict]:
    """One verdict for every declared claim (all known ones without `claims`), in a fixed order."""
    limits = Limits(reading.drive, claims)
    recording = as_recording(reading)
    evidence = Evidence(recording, limits)
    # Pulses are measured by the clock of the capture, which is as good as the controller's should be.
    controller = replace(reading.drive.controller, f_cpu_hz=NS_PER_S)
    by_stick = Evidence(replace(recording, drive=replace(reading.drive, controller=controller)), limits)
    seen_through = {
        ANGLE: Evidence(as_recording(reading, locked_only=True), limits),
        DIRECTION: by_stick,
        LOSS: by_stick,
    }
    declared = known_claims() if claims is None else claims.declared
    return [
        _verdict(name, reading, seen_through.get(name, evidence))
        for name in known_claims()
        if name in declared
    ]


def _verdict(name: str, reading: Reading, evidence: Evidence) -> CaptureVerdict:
    family, _, short = name.partition(".")
    claim = next(claim for claim in claims_of(family) if claim.name == short)
    lacking = _lacking(name, claim.needs, reading, evidence.recording)
    objects_only = lacking.startswith(_PARTLY)
    if lacking and not objects_only:
        return CaptureVerdict(name, NOT_SEEN, text=lacking)
    ruling = claim.check(evidence)
    estimate = name in ESTIMATED
    if ruling.status is Status.NOT_EXERCISED:
        return CaptureVerdict(name, str(ruling.status), text=ruling.text, estimate=estimate)
    doubt, slack = _doubt_and_slack(name, ruling, reading, evidence.recording)
    if slack is not None and slack < doubt:
        words = f"{ruling.text}; {slack:.4g} {_unit(ruling)} from its limit, and the capture resolves "
        words += f"{doubt:.4g} {_unit(ruling)}"
        return _worded(name, str(Status.CANNOT_TELL), ruling, reading, words, estimate, doubt)
    if objects_only and ruling.status is Status.HELD:
        return CaptureVerdict(name, NOT_SEEN, text=lacking)
    if name == "gates.high_on_time" and ruling.status is Status.HELD and (leg := _on_at_border(reading)):
        words = f"{leg} is on at the border of the capture; nobody sees for how long"
        return _worded(name, str(Status.CANNOT_TELL), ruling, reading, words, estimate, None)
    if name == LOSS and ruling.status is Status.BROKEN and not _drives_at(reading, ruling.moment_s):
        words = f"{ruling.text}; a tone may do that, and whether it is one the pins do not say"
        return _worded(name, str(Status.CANNOT_TELL), ruling, reading, words, estimate, doubt)
    return _worded(name, str(ruling.status), ruling, reading, ruling.text, estimate, doubt)


def _drives_at(reading: Reading, moment_s: float | None) -> bool:
    """Whether steps were driven up to that moment."""
    if reading.steps is None or moment_s is None:
        return False
    at_ns = moment_s * NS_PER_S
    return bool(np.any((reading.steps.start_ns <= at_ns) & (at_ns <= reading.steps.stop_ns + DRIVES_NS)))


def _worded(
    name: str, status: str, ruling: Ruling, reading: Reading, text: str, estimate: bool, doubt: float | None
) -> CaptureVerdict:
    moment_s = None if ruling.moment_s is None else ruling.moment_s + reading.capture.origin_s
    return CaptureVerdict(
        name,
        status,
        ruling.margin,
        moment_s,
        ruling.limit,
        ruling.seen,
        ruling.unit,
        text,
        estimate,
        doubt,
    )


_PARTLY = "only "


def _lacking(name: str, needs: Needs, reading: Reading, recording: Recording) -> str:
    """What the capture lacks for a claim; begins with `_PARTLY` where it can only object."""
    levels = reading.capture.levels
    if name in ESTIMATED:
        if reading.steps is None:
            return "needs all six gates, or two terminals"
        if name == ANGLE and not len(recording.states):
            return "needs crossings: two terminals of a motor that runs"
        if name == DIRECTION and "throttle" not in levels:
            return "needs the throttle line"
        return ""
    if name == LOSS:
        return (
            "" if has_all_gates(levels) and "throttle" in levels else "needs all six gates and the throttle"
        )
    if needs != Needs.PINS:
        return "needs what the firmware says and does inside, or currents and rotor"
    missing = [signal for signal in GATE_SIGNALS if signal not in levels]
    if name == "gates.high_on_time":
        missing = [signal for signal in missing if signal.endswith("high")]
    if len(missing) == len(GATE_SIGNALS) or (name == "gates.high_on_time" and len(missing) == 3):
        return "needs the gates"
    if name == "gates.reset_opens" and "reset" not in levels:
        return "needs the reset line"
    return f"{_PARTLY}part of the gates is seen, not {', '.join(missing)}" if missing else ""


def _doubt_and_slack(
    name: str, ruling: Ruling, reading: Reading, recording: Recording
) -> tuple[float, float | None]:
    """(what the capture cannot resolve, distance of what was seen from the limit), in one unit.

    The distance is None where the claim is no matter of a distance.
    """
    resolution_ns = reading.capture.resolution_ns
    if name == "gates.both_fets":
        return resolution_ns, _between_fets_ns(recording, ruling)
    if name == "gates.reset_opens":
        return resolution_ns, _after_reset_ns(recording)
    if name == ORDER:
        return _order_doubt_ns(reading)
    if ruling.limit is None or ruling.seen is None:
        return resolution_ns, None
    slack = abs(ruling.limit - ruling.seen)
    if ruling.unit == "deg":
        return _angle_doubt_deg(reading), slack
    return resolution_ns / _UNIT_NS[ruling.unit], slack


def _unit(ruling: Ruling) -> str:
    return ruling.unit or "ns"


def _between_fets_ns(recording: Recording, ruling: Ruling) -> float | None:
    """Least time between the two FETs of a leg; where they overlap, the longest overlap."""
    apart, overlap = np.inf, 0.0
    for signal in GATES:
        cycles, values, _ = recording.of(signal)
        ends = np.append(cycles[1:], recording.end_cycle)
        both = values == HIGH_FET | LOW_FET
        overlap = max(overlap, float(np.max((ends - cycles)[both], initial=0)))
        off = np.flatnonzero(values == 0)
        inner = off[(off > 0) & (off < len(values) - 1)]
        swaps = inner[(values[inner - 1] | values[inner + 1]) == HIGH_FET | LOW_FET]
        apart = min(apart, *(ends - cycles)[swaps].astype(float), np.inf)
        turned = np.flatnonzero((values[:-1] ^ values[1:]) == HIGH_FET | LOW_FET)
        if len(turned) and np.any(values[turned] * values[turned + 1] != 0):
            apart = 0.0
    if ruling.status is Status.BROKEN:
        return overlap
    return apart if np.isfinite(apart) else None


def _after_reset_ns(recording: Recording) -> float | None:
    """Distance from the one cycle that opening may take, of the reset that is nearest to it."""
    cycle_ns = NS_PER_S / recording.drive.controller.f_cpu_hz
    nearest = np.inf
    for reset in recording.of(Signal.RESET)[0].tolist():
        if reset == 0:
            continue
        last = 0
        for signal in GATES:
            cycles, values, _ = recording.of(signal)
            if not recording.value_at(signal, reset - 1):
                continue
            after = np.flatnonzero((cycles >= reset) & (values == 0))
            last = max(last, int(cycles[after[0]]) - reset if len(after) else recording.end_cycle - reset)
        nearest = min(nearest, abs(last - cycle_ns))
    return nearest if np.isfinite(nearest) else None


def _order_doubt_ns(reading: Reading) -> tuple[float, float | None]:
    """Steps shorter than a carrier period are not seen, so the shortest seen must be well above it."""
    steps = reading.steps
    if steps is None or len(steps) < 2:
        return 0.0, None
    inside = reading.run[1:] == reading.run[:-1]
    intervals = np.diff(steps.start_ns)[inside]
    doubt_ns = reading.carrier_ns + reading.capture.resolution_ns
    return doubt_ns, float(intervals.min()) if len(intervals) else None


def _angle_doubt_deg(reading: Reading) -> float:
    """Electrical degrees by which the worst commutation of a chain may be wrong: its own moment, the
    crossings around it, and two samples."""
    steps, seen = reading.steps, reading.open_phase
    if steps is None or seen is None or len(steps) < 3:
        return np.inf
    later = np.flatnonzero(reading.run[1:] == reading.run[:-1]) + 1
    first = reading.locked[reading.run[later]]
    later = later[(first >= 0) & (later > first)]
    interval = steps.start_ns[later] - steps.start_ns[later - 1]
    crossing = float(np.nanpercentile(seen.crossing_doubt_ns, 99.0)) if len(later) else 0.0
    doubt_ns = steps.doubt_ns[later] + 2.0 * reading.capture.resolution_ns + 3.0 * crossing
    return float(np.max(60.0 * doubt_ns / interval, initial=0.0))


def _on_at_border(reading: Reading) -> str:
    """A high FET that is on at the beginning or the end for longer than any that is seen whole, or ""."""
    cut: list[tuple[float, str]] = []
    whole = BORDER_CARRIERS * reading.carrier_ns
    for signal in GATE_SIGNALS:
        line = reading.capture.levels.get(signal)
        if line is None or not signal.endswith("high"):
            continue
        whole = max(whole, float(np.max(pulse_widths_ns(line), initial=0.0)))
        first_ns = float(line.t_ns[1]) if len(line.t_ns) > 1 else reading.capture.end_ns
        cut += [(first_ns, signal)] if line.values[0] else []
        cut += [(reading.capture.end_ns - float(line.t_ns[-1]), signal)] if line.values[-1] else []
    longest_ns, signal = max(cut, default=(0.0, ""))
    return signal if longest_ns > whole else ""
