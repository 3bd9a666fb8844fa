"""Whether this machine can do the job: everything a check will need, tried in the order of need.

Each look gives what was found, or a `Failing` with what to install or do. Modules are imported
inside the looks, because a missing dependency is one of the things to be told.
"""

import importlib.metadata
import importlib.util
import math
import platform
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

OK, FAILED, NOT_TRIED = "ok", "failed", "not tried"

PYTHON = (3, 11)

DEPENDENCIES: Mapping[str, str] = {
    "numpy": "1.26",
    "cffi": "1.16",
    "pycparser": "3.0",
    "hypothesis": "6.155",
    "click": "8.1",
    "rich": "13",
    "pyelftools": "0.31",
    "tomli-w": "1.0",
}
"""Distribution -> oldest version, as in pyproject.toml (a test compares)."""

FREE_MB = 100
"""Room wanted for built libraries: about 0.5 MB for each state of a firmware, seen on the bow thruster."""

PROBE = Path(__file__).parent / "probe"
PROBE_END_S = 0.075
"""The part takes 65 ms from power-on to main(), which leaves its firmware 10 ms."""

CURRENT_TOLERANCE = 0.01
"""The closed form leaves out the bulk capacitor and the little that the rotor turns."""

HEADERS = "on Debian: apt-get install libc6-dev"


class Failing(Exception):  # noqa: N818 - an answer, not an error
    """Something is missing; `remedy` is what to install or do."""

    def __init__(self, text: str, remedy: str) -> None:
        super().__init__(text)
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class Look:
    """One thing looked at: `status` is ok, failed or not tried."""

    name: str
    status: str
    text: str
    remedy: str = ""


def _system() -> str:
    machine = platform.machine()
    if platform.system() != "Linux" or machine not in ("x86_64", "AMD64"):
        raise Failing(
            f"{platform.system()} {machine}; the rig runs on Linux x86-64",
            "use a container or subsystem of that kind",
        )
    from dryspin.search.workers import cores

    return f"{platform.system()} {platform.release()} {machine}, {cores()} cores"


def _python() -> str:
    if sys.version_info < PYTHON:
        raise Failing(
            f"{platform.python_version()} is too old", f"install Python {'.'.join(map(str, PYTHON))} or later"
        )
    return f"{platform.python_version()} at {sys.executable}"


def _dependencies() -> str:
    found, wrong = [], []
    for name, oldest in DEPENDENCIES.items():
        try:
            version = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            wrong.append(f"{name} is missing")
            continue
        found.append(f"{name} {version}")
        if _numbers(version) < _numbers(oldest):
            wrong.append(f"{name} {version} is older than {oldest}")
    if wrong:
        raise Failing(", ".join(wrong), f"{sys.executable} -m pip install --upgrade dryspin")
    return ", ".join(found)


def _numbers(version: str) -> tuple[int, ...]:
    """The leading numbers of a version, as many as there are."""
    numbers = []
    for part in version.split("."):
        if not part.isdigit():
            break
        numbers.append(int(part))
    return tuple(numbers)


def _compiler() -> str:
    from dryspin.build import find_compiler
    from dryspin.errors import BuildError

    try:
        compiler = find_compiler()
    except BuildError as error:
        text, _, remedy = str(error).partition("; ")
        raise Failing(text, remedy) from None
    return f"{compiler.version} ({' '.join(compiler.command)})"


def _binutils() -> str:
    missing = [tool for tool in ("ld", "objcopy") if shutil.which(tool) is None]
    if missing:
        raise Failing(f"{' and '.join(missing)} not found", "on Debian: apt-get install binutils")
    return "ld and objcopy"


def _cache() -> str:
    from dryspin.build import cache_root

    root = cache_root()
    with _scratch():
        free_mb = shutil.disk_usage(root).free // 1_000_000
    if free_mb < FREE_MB:
        raise Failing(
            f"{root}: {free_mb} MB free, {FREE_MB} MB wanted",
            "make room (its folders may be deleted at any time), or name another folder in DRYSPIN_CACHE",
        )
    return f"{root}, {free_mb} MB free"


@contextmanager
def _scratch() -> Iterator[Path]:
    """A folder in the build cache, where libraries must be writable and loadable."""
    from dryspin.build import cache_root

    root = cache_root()
    try:
        root.mkdir(parents=True, exist_ok=True)
        folder = tempfile.TemporaryDirectory(prefix="doctor-", dir=root)
    except OSError as problem:
        raise Failing(
            f"{root} cannot be written ({problem.strerror or problem})",
            "make it writable, or name another folder in DRYSPIN_CACHE",
        ) from None
    with folder as path:
        yield Path(path)


def _headers() -> str:
    """What the core includes, compiled and linked by itself, then loaded and called."""
    from cffi import FFI

    from dryspin.build import find_compiler
    from dryspin.errors import BuildError

    source = (
        "#include <stdint.h>\n#include <string.h>\n#include <math.h>\n#include <signal.h>\n"
        "#include <ucontext.h>\nint32_t dryspin_probe(double x) { return (int32_t)floor(x); }\n"
    )
    with _scratch() as folder:
        (folder / "probe.c").write_text(source, encoding="utf-8")
        try:
            done = find_compiler().run(
                ["-std=c11", "-fPIC", "-shared", "probe.c", "-o", "probe.so", "-lm"], folder
            )
        except BuildError as error:
            raise Failing(str(error), HEADERS) from None
        if done.returncode != 0:
            lines = [line for line in done.stderr.splitlines() if "error" in line or "cannot" in line]
            raise Failing((lines or done.stderr.splitlines() or ["the compiler failed"])[0].strip(), HEADERS)
        ffi = FFI()
        ffi.cdef("int32_t dryspin_probe(double x);")
        try:
            library = ffi.dlopen(str(folder / "probe.so"))
        except OSError as problem:
            raise Failing(
                f"a library built in {folder.parent} cannot be loaded ({problem})",
                "name a folder in DRYSPIN_CACHE on a file system that is not mounted noexec",
            ) from None
        answer = int(library.dryspin_probe(7.5))
        ffi.dlclose(library)
    if answer != 7:
        raise Failing(f"a library gives {answer} for 7", "try another compiler: CC=clang")
    return "a shared library compiles, links, loads and runs"


def _rig() -> str:
    """The probe firmware's current against i = V/R (1 - exp(-t R/L)), two phases in series (textbook)."""
    from dryspin.build import build_image
    from dryspin.drive import load_drive
    from dryspin.errors import DryspinError
    from dryspin.recording import Signal
    from dryspin.rig import run
    from dryspin.scenario import Scenario

    scenario = Scenario(seed=0, end_s=PROBE_END_S, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 0.0),))
    try:
        drive = load_drive(PROBE)
        recording = run(build_image(drive, PROBE), drive, scenario)
    except DryspinError as error:
        raise Failing(
            str(error).splitlines()[0], "put the failed lines above in order; else report it as a defect"
        ) from None
    cycles, _, rows = recording.of(Signal.GATE_U)
    if len(cycles) != 3:
        raise Failing("the probe's legs did not switch", "report it as a defect, with the compiler's version")
    on_s, off_s = (float(recording.seconds(cycle)) for cycle in cycles[1:])
    states = recording.states
    at = int((states["t_s"] <= off_s + 1e-9).sum()) - 1
    seen_a = float(states["i_u_a"][at])
    r_ohm = 2.0 * (drive.motor.r_phase_ohm.nominal + drive.bridge.r_on_ohm.nominal)
    r_ohm += drive.supply.r_ohm.nominal
    l_h = 2.0 * drive.motor.l_phase_h.nominal
    want_a = drive.supply.v_v.nominal / r_ohm * (1.0 - math.exp(-(off_s - on_s) * r_ohm / l_h))
    if not abs(seen_a - want_a) <= CURRENT_TOLERANCE * want_a:
        raise Failing(
            f"the probe's current is {seen_a:.3f} A for {want_a:.3f} A",
            "try another compiler (CC=clang), and report it as a defect",
        )
    if not recording.line_of(int(rows[1])).startswith("main.c:"):
        raise Failing(
            "the compiler's debug lines cannot be read", "use gcc 9 or clang 10, or later, and report it"
        )
    return f"10 ms of a probe firmware: {seen_a:.2f} A in two windings, {want_a:.2f} A by the closed form"


LOOKS: tuple[tuple[str, Callable[[], str], tuple[str, ...]], ...] = (
    ("system", _system, ()),
    ("Python", _python, ()),
    ("dependencies", _dependencies, ()),
    ("compiler", _compiler, ("system",)),
    ("binutils", _binutils, ()),
    ("cache", _cache, ()),
    ("C library", _headers, ("compiler", "cache", "dependencies")),
    ("rig", _rig, ("Python", "dependencies", "binutils", "C library")),
)
"""Name, look, and the names without which it cannot be tried."""


def examine() -> list[Look]:
    """All looks in order; never raises."""
    looks: dict[str, Look] = {}
    for name, look, needs in LOOKS:
        lacking = [need for need in needs if looks[need].status != OK]
        if lacking:
            looks[name] = Look(name, NOT_TRIED, f"needs {', '.join(lacking)}")
            continue
        try:
            looks[name] = Look(name, OK, look())
        except Failing as failing:
            looks[name] = Look(name, FAILED, str(failing), failing.remedy)
        except Exception as error:
            # Whatever is wrong with this machine, the other lines are still of use.
            looks[name] = Look(
                name, FAILED, f"{type(error).__name__}: {error}", "report it as a defect, with this output"
            )
    return list(looks.values())
