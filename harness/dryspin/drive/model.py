"""The drive as data: what `drive.toml` describes, frozen, in SI and in the units the names say.

Keys of the file and fields here have the same names. What each key means, its unit, bounds and
default stand once, in `schema.py`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dryspin.drive.change import Change
from dryspin.drive.pins import Pins
from dryspin.drive.span import Range
from dryspin.units import k_phase_from_kv, kt_from_kv

Triple = tuple[float, float, float]
"""One number for each of U, V, W."""


@dataclass(frozen=True)
class Firmware:
    """How the firmware is built: C sources and include directories, relative to its directory.

    `change` is applied to the files in order, after those of `base` have been laid under them.
    """

    sources: tuple[str, ...]
    include: tuple[str, ...]
    defines: Mapping[str, str] = field(hash=False)
    base: str
    change: tuple[Change, ...] = ()


@dataclass(frozen=True)
class Motor:
    """Wye-wound machine with permanent magnets; resistance and inductance are per phase.

    Factors in the order U, V, W make the phases unequal; `mutual_h` are deviations UV, VW, WU from the
    common mutual inductance. See `schema.py` and `plant/parameters.py`.
    """

    kv_rpm_per_v: Range
    kv_from: str
    r_phase_ohm: Range
    l_phase_h: Range
    pole_pairs: int
    j_kg_m2: Range
    back_emf: str = "trapezoid"
    back_emf_table: tuple[float, ...] = ()
    third_harmonic: float = 0.0
    r_factors: Triple = (1.0, 1.0, 1.0)
    l_factors: Triple = (1.0, 1.0, 1.0)
    k_factors: Triple = (1.0, 1.0, 1.0)
    mutual_h: Triple = (0.0, 0.0, 0.0)

    @property
    def k_phase_v_s(self) -> float:
        """Nominal flat top of a phase's back-EMF, V s/rad: 0.5 / (kv 2 pi/60)."""
        return k_phase_from_kv(self.kv_rpm_per_v.nominal)

    @property
    def kt_nm_per_a(self) -> float:
        """Nominal torque per ampere with two phases on, Nm/A: 60 / (2 pi kv)."""
        return kt_from_kv(self.kv_rpm_per_v.nominal)


@dataclass(frozen=True)
class Load:
    """Propeller and friction: torque = kq w|w| + coulomb sign(w) + viscous w; breakaway at `static_nm`."""

    kq_nm_s2: Range
    coulomb_nm: Range
    viscous_nm_s: Range
    static_nm: Range | None = None


@dataclass(frozen=True)
class Bridge:
    """Six FETs with body diodes, their driver, and the ratings the monitors hold them to."""

    r_on_ohm: Range
    v_f_v: Range
    chopping: str
    f_pwm_hz: float
    dead_time_ns: float
    pull_downs: bool
    i_peak_max_a: float
    v_max_v: float
    high_on_max_s: float
    diode_slope_ohm: Range | None = None
    over_current_a: float | None = None
    over_current_filter_s: float = 2e-6


@dataclass(frozen=True)
class Supply:
    """Source behind a resistance, feeding the bulk capacitor on the board."""

    kind: str
    v_v: Range
    r_ohm: Range
    sinks: bool
    c_f: Range
    esr_ohm: Range = Range(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Sense:
    """Divider of each terminal, and the comparator it feeds."""

    r_top_ohm: float
    r_bottom_ohm: float
    offset_v: Range
    delay_s: Range
    tau_s: Range = Range(0.0, 0.0, 0.0)
    noise_v: Range = Range(0.001, 0.002, 0.004)
    pin_clamp_v: float | None = None

    @property
    def ratio(self) -> float:
        """Volts at the pin per volt at the terminal."""
        return self.r_bottom_ohm / (self.r_top_ohm + self.r_bottom_ohm)


@dataclass(frozen=True)
class Controller:
    """The part the firmware runs on, and what plain code costs on the rig."""

    part: str
    f_cpu_hz: float
    clock: str
    v_supply_v: float
    block_cycles: int
    i_supply_a: float = 0.02
    regulator_drop_v: float = 1.0
    brown_out_v: float = 4.3
    atomic_bytes: int = 1
    # told apart by a hash of their own: what the part's compiler makes of the firmware counts there, too
    code_cycles: str = field(default="flat", repr=False)
    code_cycles_factor: float = field(default=1.0, repr=False)

    @property
    def by_object_code(self) -> bool:
        """Whether plain code is charged by the part's object code."""
        return self.code_cycles == "object code"


@dataclass(frozen=True)
class Throttle:
    """The throttle pulses the firmware is declared to obey; widths in microseconds.

    `arming_frames`, `arming_s`: neutral pulses in a row, and time with the stick at neutral, after which it
    obeys; None where nobody knows, and a check finds out.
    `one_way`: every valid pulse below the dead band asks for nothing, too; `reverse_full_us` then stands for
    a stick at that end.
    """

    neutral_us: float
    forward_full_us: float
    reverse_full_us: float
    dead_band_us: float
    valid_low_us: float
    valid_high_us: float
    # How long scenarios wait; what is replayed has its own steps, so the drive's hash leaves these out.
    arming_frames: Range | None = field(default=None, repr=False)
    arming_s: Range | None = field(default=None, repr=False)
    # Hashed by itself, so that the hashes of drives that turn both ways stay what they were.
    one_way: bool = field(default=False, repr=False)


@dataclass(frozen=True)
class Calibration:
    """How the firmware learns the stick's range: the rite it is declared to follow.

    Entered when `enter_frames` valid pulses in a row, from the first after a power-on, are above
    `enter_us`. Then the positions of `order` are learnt, each when `hold_frames` valid pulses in a
    row lie within `still_us`; given up after `timeout_s` with nothing changed. High and low must lie
    `span_min_us` to `span_max_us` from neutral.
    """

    enter_us: float
    enter_frames: int
    order: tuple[str, ...]
    hold_frames: int
    still_us: float
    timeout_s: float
    span_min_us: float
    span_max_us: float


@dataclass(frozen=True)
class Tone:
    """One tone the windings are made to sound: its name, and the mark (32..63) that announces it.

    `notes` are pairs of a note's name ("C6", see `units.frequency_hz`; "" is a pause) and its length
    in ms. `pulse_us` is the longest on-time of one pulse.
    """

    name: str
    mark: int
    notes: tuple[tuple[str, float], ...]
    pulse_us: float

    @property
    def length_s(self) -> float:
        """From its beginning to its end, pauses included."""
        return sum(ms for _, ms in self.notes) / 1000.0


@dataclass(frozen=True)
class Shared:
    """A variable that main line and handlers share in a way that looks like a race and is none, and why."""

    variable: str
    why: str


@dataclass(frozen=True)
class Heat:
    """What winding, FETs and bulk capacitor bear for ever, and how they get rid of their heat.

    Thermal resistances are from the part to its surroundings, which stand at `ambient_c`.
    """

    ambient_c: float
    winding_k_per_w: float
    winding_max_c: float
    fet_k_per_w: float
    fet_max_c: float
    switch_ns: float
    ripple_max_a: float


@dataclass(frozen=True)
class Timekeeping:
    """Which variables of the firmware hold moments or lengths of time: states are compared by ages.

    Pairs of name and the age in ms from which on all ages are one; see `schema.py`.
    """

    moments: tuple[tuple[str, float], ...]
    spans: tuple[tuple[str, float], ...] = ()
    wraps: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Drive:
    """One drive: motor, propeller, board, supply, controller, and the firmware's build.

    `path` is the file read. `layers` are the firmware directories, the nearest first: a file is
    taken from the first that has it (more than one only where `[firmware] base` is given).
    `calibration` is None where the firmware learns nothing; `tones` are all it may sound; `heat` is None
    where nobody knows; so is `timekeeping`. `pins` is None where the firmware is written for
    `drive_port.h`; `unknown` names the keys ("motor.l_phase_h") whose values are guesses.
    """

    path: Path
    name: str
    firmware: Firmware
    motor: Motor
    load: Load
    bridge: Bridge
    supply: Supply
    sense: Sense
    controller: Controller
    throttle: Throttle
    layers: tuple[Path, ...] = ()
    calibration: Calibration | None = None
    tones: tuple[Tone, ...] = ()
    heat: Heat | None = None
    timekeeping: Timekeeping | None = None
    shared: tuple[Shared, ...] = ()
    pins: Pins | None = None
    unknown: tuple[str, ...] = ()
