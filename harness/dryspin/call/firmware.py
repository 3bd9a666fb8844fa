"""A firmware of which single functions can be called: `firmware.call.steps_next(0, 1)`.

Calls run in the place of main(), on the firmware's own stack and the virtual controller: see
README.md beside this file for what that means.
"""

import weakref
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import cffi

from dryspin.build import Image, build_image, core_declarations, find_compiler, firmware_text
from dryspin.build.compiling import compile_options
from dryspin.build.functions import Definition, defined_functions
from dryspin.build.symbols import seam
from dryspin.call.declarations import Declarations, read_declarations
from dryspin.call.memory import Object
from dryspin.call.thunks import SOURCE, Signature, Surface, surface
from dryspin.call.values import Values
from dryspin.drive import Drive, load_drive
from dryspin.errors import CallError, NoFunctionError, RigError
from dryspin.recording import EDGE, STATE, Recording, Signal
from dryspin.rig.chunks import Chunks
from dryspin.rig.fault import fault_text
from dryspin.rig.settings import Settings
from dryspin.scenario import Scenario
from dryspin.scenario.schema import STORE_BYTES

QUIET = Scenario(seed=0, end_s=60.0, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 0.0),))
"""Rotor at rest, no throttle pulses, for a minute of virtual time: the scenario unless told otherwise."""

_ROOM = 1 << 13

_RESETS = {1: "power-on", 2: "a reset from outside", 4: "a brown-out", 8: "the watchdog"}

_users: dict[str, "weakref.ref[CallableFirmware]"] = {}
"""Image path to the firmware that runs on it: the library's variables are there once a process."""


def load_firmware(
    directory: Path | str, drive_file: Path | str | None = None, scenario: Scenario = QUIET
) -> "CallableFirmware":
    """Build the firmware in `directory` for calls, and turn it on.

    drive_file: instead of the directory's drive.toml. scenario: what happens outside while functions
    run. Raises DriveError, BuildError, CallError where headers cannot be read.
    """
    folder = Path(directory)
    drive = load_drive(Path(drive_file) if drive_file else folder)
    compiler = find_compiler()
    text = firmware_text(drive, folder)
    headers = sorted(name for name in text.files if name.endswith(".h"))
    image = build_image(drive, folder, compiler=compiler)
    options = compile_options(drive, compiler)
    declarations = read_declarations(compiler, options, image.path.parent / "src", headers)
    definitions = defined_functions(image.path)
    defined = {name for name, found in definitions.items() if found.external} | seam()[0]
    ffi = cffi.FFI()
    callable_ones = surface(ffi, declarations, headers, defined)
    image = build_image(
        drive, folder, compiler=compiler, more={SOURCE: callable_ones.source}, shown=callable_ones.shown
    )
    names = _Names(callable_ones, declarations, definitions)
    return CallableFirmware(image, drive, scenario, ffi, names)


class CallableFirmware:
    """A firmware turned on, whose functions stand in `call`. One at a time per firmware and process."""

    def __init__(self, image: Image, drive: Drive, scenario: Scenario, ffi: Any, names: "_Names") -> None:
        self.image, self.drive, self.scenario = image, drive, scenario
        self._ffi, self._names = ffi, names
        self._values = Values(ffi)
        self._core_ffi = core_declarations()
        self._core: Any = self._core_ffi.dlopen(str(image.path))
        self._library: Any = ffi.dlopen(str(image.path))
        self._lost = ""
        self.call = Calls(self, names)
        self.reset()

    def reset(self, scenario: Scenario | None = None) -> None:
        """Turn everything off and on again: variables as after loading, virtual time at the start-up.

        scenario: another one from now on.
        """
        self.scenario = scenario or self.scenario
        core, ffi = self._core, self._core_ffi
        self._settings = Settings(self.drive, self.scenario, self.drive.controller.block_cycles, False)
        self._edges = Chunks(ffi, core.core_edges(), "edge", EDGE, _ROOM)
        self._states = Chunks(ffi, core.core_states(), "sample", STATE, _ROOM)
        core.core_start(self._settings.struct)
        self._values.lent.clear()
        self._lost = ""
        _users[str(self.image.path)] = weakref.ref(self)
        self.wait(0.0)

    def new(self, type_name: str, value: Any = None) -> Object:
        """A C object to lend to the firmware, such as `new("uint8_t")` or `new("stick_range", {...})`."""
        return self._values.new(type_name, value)

    def wait(self, ms: float) -> None:
        """Let virtual time pass while the main line does nothing; enabled handlers run when they are due."""
        until = self._core_ffi.new("int64_t *", self._core.core_now() + round(ms * 1e-3 * self._f_cpu_hz))
        wait = self._core_ffi.addressof(self._core, "core_wait")
        self._run("wait()", wait, until)

    @property
    def now_s(self) -> float:
        """Virtual time since power-on."""
        return float(self._core.core_now() / self._f_cpu_hz)

    @property
    def store(self) -> bytes:
        """The byte store now."""
        return bytes(self._core_ffi.buffer(self._core.core_store(), STORE_BYTES))

    def recording(self) -> Recording:
        """What has happened since power-on: legs, marks, throttle, store, rotor."""
        self._require_ours()
        return Recording(
            edges=self._edges.all(),
            states=self._states.all(),
            f_cpu_hz=self._f_cpu_hz,
            end_cycle=int(self._core.core_now()),
            drive=self.drive,
            scenario=self.scenario,
            image_digest=self.image.digest,
            lines=self.image.line_of,
            store=self.store,
        )

    @property
    def _f_cpu_hz(self) -> float:
        return self._settings.f_cpu_hz

    def _invoke(self, function: Signature, arguments: list[Any]) -> Any:
        name = function.declared.name
        shown = f"{name}({', '.join(map(repr, arguments))})"
        box = self._ffi.new(function.box)
        for k, (kind, value) in enumerate(zip(function.arguments, arguments, strict=True)):
            parameter = function.declared.parameters[k] or f"argument {k + 1}"
            setattr(box, f"a{k}", self._values.to_c(kind, value, f"{name}(), {parameter}"))
        address = int(self._ffi.cast("uintptr_t", self._ffi.addressof(self._library, function.thunk)))
        thunk = self._core_ffi.cast("void (*)(void *)", address)
        at = self._core_ffi.cast("void *", int(self._ffi.cast("uintptr_t", box)))
        self._run(shown, thunk, at)
        return None if function.result.kind == "void" else self._values.from_c(box.r)

    def _run(self, shown: str, function: Any, argument: Any) -> None:
        """Run `function` on the firmware's stack until it returns; raises RigError where it does not."""
        self._require_ours()
        if self._lost:
            raise CallError(f"{shown}: {self._lost}; begin anew with reset()")
        core = self._core
        reason = core.core_call(function, argument)
        while reason in (core.CORE_EDGES_FULL, core.CORE_STATES_FULL):
            (self._edges if reason == core.CORE_EDGES_FULL else self._states).take()
            reason = core.core_run()
        if reason != core.CORE_CALLED:
            self._lost = "a call before did not return"
            raise RigError(f"{shown}: {self._why(reason)}")

    def _why(self, reason: int) -> str:
        core = self._core
        if reason == core.CORE_DONE:
            return (
                f"did not return within the scenario's {self.scenario.end_s:g} s of virtual time; look for a "
                "wait that nothing ends, or give a scenario in which it ends"
            )
        if reason == core.CORE_RESTARTED:
            edges = self._edges.all()
            causes = edges["value"][edges["signal"] == Signal.RESET]
            cause = _RESETS.get(int(causes[-1]), "a reset") if len(causes) else "a reset"
            return f"{cause} has restarted the controller {self.now_s:.6f} s after power-on"
        if reason == core.CORE_HUNG:
            fault = core.core_fault()
            line = self.image.line_of(fault.pc) or self.image.line_of(fault.caller)
            where = f" at {line} in {self.image.function_of(fault.pc)}()" if line else ""
            return f"does not end{where}: a loop without a port call, in which no time passes"
        return fault_text(core, reason, self._settings, self.image)

    def _require_ours(self) -> None:
        user = _users.get(str(self.image.path))
        if user is None or user() is not self:
            raise CallError(
                f"{self.image.path.name} of {self.drive.name} was loaded again since, and its variables are "
                "there only once; use the later one, or call reset() of this one"
            )


class Calls:
    """The functions that can be called, by name."""

    def __init__(self, firmware: CallableFirmware, names: "_Names") -> None:
        self._firmware, self._names = firmware, names

    def __getattr__(self, name: str) -> "Function":
        """The function `name`; raises NoFunctionError with the reason why it cannot be called."""
        if name.startswith("__"):
            raise AttributeError(name)
        signature = self._names.surface.functions.get(name)
        if signature is None:
            raise NoFunctionError(self._names.why_not(name))
        return Function(self._firmware, signature)

    def __dir__(self) -> list[str]:
        return sorted(self._names.surface.functions)


class Function:
    """One C function; its `declaration` as the header has it."""

    def __init__(self, firmware: CallableFirmware, signature: Signature) -> None:
        self._firmware, self._signature = firmware, signature
        self.declaration = signature.declared.text
        self.__name__ = signature.declared.name

    def __call__(self, *arguments: Any, **named: Any) -> Any:
        """Call it; arguments in order or by the names that the header gives. Raises CallError, RigError."""
        return self._firmware._invoke(self._signature, self._bound(arguments, named))

    def __repr__(self) -> str:
        return f"<{self.declaration} at {self._signature.declared.place}>"

    def _bound(self, arguments: tuple[Any, ...], named: dict[str, Any]) -> list[Any]:
        wanted = len(self._signature.arguments)
        names = self._signature.declared.parameters[:wanted]
        bound = dict(enumerate(arguments))
        for name, value in named.items():
            if name not in names or names.index(name) in bound:
                twice = "twice given" if name in names else "unknown"
                raise CallError(f"{self.__name__}(): {name} is {twice}; it is declared {self.declaration}")
            bound[names.index(name)] = value
        if sorted(bound) != list(range(wanted)):
            raise CallError(
                f"{self.__name__}() takes {wanted} argument{'' if wanted == 1 else 's'}, {len(bound)} given; "
                f"it is declared {self.declaration}"
            )
        return [bound[k] for k in range(wanted)]


class _Names:
    """What is known about functions by name."""

    def __init__(
        self, surface: Surface, declarations: Declarations, definitions: dict[str, Definition]
    ) -> None:
        self.surface, self._declarations, self._definitions = surface, declarations, definitions

    def why_not(self, name: str) -> str:
        """Why there is no function of that name to call, and what to do."""
        if name in self.surface.refused:
            return self.surface.refused[name]
        if name == "main":
            return "main() never returns: run the whole firmware with dryspin run or dryspin check"
        definition = self._definitions.get(name)
        if definition is not None and not definition.external:
            return (
                f"{definition.place}: {name}() is static, so only {definition.file} can call it; "
                "call a function that uses it, or take static away and declare it in a header"
            )
        if definition is not None:
            return f"{definition.place}: {name}() is declared in no header of the firmware; declare it in one"
        if name in self._declarations.functions:
            place = self._declarations.functions[name].place
            return f"{place}: {name}() is declared there, but no source of the firmware defines it"
        near = get_close_matches(name, [*self.surface.functions, *self._definitions], n=1, cutoff=0.6)
        hint = f"did you mean {near[0]}?" if near else "dir(firmware.call) lists what there is"
        return f"the firmware has no function {name}(); {hint}"
