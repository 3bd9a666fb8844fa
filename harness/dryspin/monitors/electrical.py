"""Electrical: what current, voltage and heat ask of the parts, whatever the drive is doing.

Heat is extrapolated: what the last whole turns of a run lost, going on until nothing warms any more.
Losses that the model does not know (iron, ringing, reverse recovery) are not in it.
"""

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.carrying import stretches_in_run
from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.verdict import Ruling, at_most, not_exercised, worst
from dryspin.plant.parameters import COPPER_AT_C, COPPER_PER_K
from dryspin.recording import LEG_NAMES
from dryspin.recording.signals import HIGH_FET, LOW_FET
from dryspin.scenario import linear_value
from dryspin.units import rpm_from_rad_s

ORDER = 90

NO_END_C = 9999.0
"""Stands for a temperature that never stops rising."""

NO_HEAT = "drive.toml has no [heat]: what the parts bear, and how they get rid of it, is not known"
NO_RUN = "no run lasted for two whole turns"


def phase_current(evidence: Evidence) -> Ruling:
    """Peak of any phase current from power-on to the end."""
    if not evidence.drive_spans:
        return not_exercised("the windings were never driven")
    return _peak(evidence, evidence.recording.state_i_peak_a, "i_peak_a", "A", "phase current")


def bus_voltage(evidence: Evidence) -> Ruling:
    """Highest bus voltage from power-on to the end."""
    if not evidence.drive_spans:
        return not_exercised("the windings were never driven")
    return _peak(evidence, evidence.recording.states["v_bus_v"], "bus_v", "V", "bus voltage")


def sense_pin(evidence: Evidence) -> Ruling:
    """A terminal stands at most a diode above the bus and a diode below ground; so does its pin, divided.

    A clamp holds the pin lower.
    """
    recording, drive = evidence.recording, evidence.recording.drive
    if not evidence.drive_spans:
        return not_exercised("the windings were never driven")
    beyond_v = evidence.limits["pin_beyond_v"]
    bus_v = recording.states["v_bus_v"].astype(np.float64)
    v_f_v = drive.bridge.v_f_v.nominal * recording.scenario.parts.get("v_f", 1.0)
    controller_v = np.clip(bus_v - drive.controller.regulator_drop_v, 0.0, drive.controller.v_supply_v)
    clamp_v = np.inf if drive.sense.pin_clamp_v is None else drive.sense.pin_clamp_v
    above_v = np.minimum(drive.sense.ratio * (bus_v + v_f_v), clamp_v) - controller_v
    below_v = drive.sense.ratio * v_f_v
    k = int(np.argmax(above_v))
    moment_s = float(recording.state_t_s[k])
    words = f"a sense pin up to {float(above_v[k]):+.2f} V from the controller's supply"
    return at_most(max(float(above_v[k]), below_v), beyond_v, "V", words, moment_s)


def winding_heat(evidence: Evidence) -> Ruling:
    """Where the winding's temperature ends if the last whole turns of a run go on for ever.

    T = Ta + Rth P20 (1 + a (T - 20)): resistance grows with temperature, so that beyond
    a Rth P20 = 1 nothing ends it.
    """
    drive, heat = evidence.recording.drive, evidence.recording.drive.heat
    if heat is None:
        return not_exercised(NO_HEAT)
    r_ohm = drive.motor.r_phase_ohm.nominal * evidence.recording.scenario.parts.get("r_phase", 1.0)
    rulings = []
    for stretch in evidence.derive(stretches_in_run):
        loss_w = r_ohm * float(np.sum(stretch.mean(stretch.squares_a2)))
        gain = COPPER_PER_K * heat.winding_k_per_w * loss_w
        cold = heat.ambient_c + heat.winding_k_per_w * loss_w * (1.0 - COPPER_AT_C * COPPER_PER_K)
        end_c = cold / (1.0 - gain) if gain < 1.0 else float("inf")
        ends = f"ends at {end_c:.0f} C" if gain < 1.0 else "never stops rising"
        words = f"{loss_w:.1f} W in the copper as at {stretch.to_s:.3f} s: its temperature {ends}"
        rulings.append(at_most(min(end_c, NO_END_C), evidence.limits["winding_c"], "C", words, stretch.to_s))
    return worst(rulings, NO_RUN)


def fet_heat(evidence: Evidence) -> Ruling:
    """Where the hottest FET's junction ends if the last whole turns of a run go on for ever.

    On it r_on i^2, in its body diode v_f i, and v i t / 2 at every switching that takes t.
    """
    drive, heat = evidence.recording.drive, evidence.recording.drive.heat
    if heat is None:
        return not_exercised(NO_HEAT)
    parts = evidence.recording.scenario.parts
    r_on_ohm = drive.bridge.r_on_ohm.nominal * parts.get("r_on", 1.0)
    v_f_v = drive.bridge.v_f_v.nominal * parts.get("v_f", 1.0)
    rulings = []
    for stretch in evidence.derive(stretches_in_run):
        losses = {}
        for leg in range(3):
            for fet, name in ((HIGH_FET, "high"), (LOW_FET, "low")):
                on = stretch.fets[:, leg] == fet
                loss_w = r_on_ohm * float(stretch.mean(np.where(on, stretch.squares_a2[:, leg], 0.0)))
                loss_w += v_f_v * float(stretch.mean(stretch.diodes(leg, fet)))
                amps, volts = stretch.switchings(leg, fet)
                length_s = float(np.sum(stretch.dt_s))
                loss_w += 0.5e-9 * heat.switch_ns * float(np.sum(amps * volts)) / length_s
                losses[f"{name} FET of {LEG_NAMES[leg]}"] = loss_w
        name, loss_w = max(losses.items(), key=lambda item: item[1])
        end_c = heat.ambient_c + heat.fet_k_per_w * loss_w
        words = f"{loss_w:.2f} W in the {name} as at {stretch.to_s:.3f} s: its junction ends at {end_c:.0f} C"
        rulings.append(at_most(end_c, evidence.limits["junction_c"], "C", words, stretch.to_s))
    return worst(rulings, NO_RUN)


def ripple(evidence: Evidence) -> Ruling:
    """Root mean square of the bulk capacitor's current over the last whole turns of a run."""
    recording = evidence.recording
    drive, heat = recording.drive, recording.drive.heat
    if heat is None:
        return not_exercised(NO_HEAT)
    r_ohm = drive.supply.r_ohm.nominal * recording.scenario.parts.get("r_supply", 1.0)
    rulings = []
    for stretch in evidence.derive(stretches_in_run):
        source_v = linear_value(recording.scenario.supply_v, stretch.to_s, drive.supply.v_v.nominal)
        source_a = (source_v - stretch.v_bus_v) / r_ohm
        if not drive.supply.sinks:
            source_a = np.maximum(source_a, 0.0)
        bridge_a = np.sum(np.where(stretch.high, stretch.i_a, 0.0), axis=1)
        rms_a = float(np.sqrt(stretch.mean(np.square(source_a - bridge_a))))
        words = f"{rms_a:.1f} A root mean square in the bulk capacitor as at {stretch.to_s:.3f} s"
        rulings.append(at_most(rms_a, evidence.limits["ripple_a"], "A", words, stretch.to_s))
    return worst(rulings, NO_RUN)


def _peak(evidence: Evidence, values: NDArray[np.float32], limit: str, unit: str, what: str) -> Ruling:
    recording = evidence.recording
    alive = evidence.alive
    if not np.any(alive):
        return not_exercised("the code went round in circles throughout")
    k = int(np.argmax(np.where(alive, values, -np.inf)))
    moment_s = float(recording.state_t_s[k])
    rpm = rpm_from_rad_s(float(recording.w_at(moment_s)))
    words = f"{what} {float(values[k]):.1f} {unit} at {rpm:.0f} rpm"
    acts = evidence.acts
    row = int(acts.rows[acts.index_at(recording.cycle_of(moment_s))])
    return at_most(float(values[k]), evidence.limits[limit], unit, words, moment_s, row)


CLAIMS = (
    Claim(
        "phase_current",
        "no phase current above the bridge's rating at any time",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        phase_current,
        ("i_peak_a",),
    ),
    Claim(
        "bus_voltage",
        "no bus voltage above the lowest rating at any time",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        bus_voltage,
        ("bus_v",),
    ),
    Claim(
        "sense_pin",
        "no sense pin beyond what the controller's pins bear",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        sense_pin,
        ("pin_beyond_v",),
    ),
    Claim(
        "winding_heat",
        "no run that would overheat the winding if it went on",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        winding_heat,
        ("winding_c",),
    ),
    Claim(
        "fet_heat",
        "no run that would overheat a FET if it went on",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        fet_heat,
        ("junction_c",),
    ),
    Claim(
        "ripple",
        "no run with more ripple current than the bulk capacitor bears",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        ripple,
        ("ripple_a",),
    ),
)
