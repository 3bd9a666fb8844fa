"""Why the firmware could not be run on, told so that it can be acted on."""

import signal
from typing import Any

from dryspin.build import Image, core_declarations
from dryspin.errors import FirmwareError, RigError
from dryspin.rig.settings import Settings

_CRASHES = {
    signal.SIGILL: (
        "an illegal instruction",
        "look for __builtin_trap(), or code the compiler proved undefined",
    ),
    signal.SIGTRAP: ("a trap", "look for a break point left in the code"),
    signal.SIGABRT: ("an abort", "look for a failed assert()"),
    signal.SIGBUS: ("a bad address", "look for a wild pointer"),
    signal.SIGFPE: ("an arithmetic fault", "look for a division by 0"),
    signal.SIGSEGV: ("a bad address", "look for a null or wild pointer, or an index out of bounds"),
}


_QUANTITIES = {
    "QUANTITY_CURRENT": "a phase current of {i} A",
    "QUANTITY_BUS": "a bus of {v} V",
    "QUANTITY_SPEED": "a speed of {w} rad/s",
}
_EVENTS = {
    "EVENT_DIODE_OFF": "diode {leg} off",
    "EVENT_CLAMP": "diode {leg} on",
    "EVENT_BORDER": "corner of the EMF",
    "EVENT_CROSSING": "comparator crossing",
    "EVENT_SUPPLY": "supply switched",
    "EVENT_BREAKAWAY": "rotor broke away",
    "EVENT_STOP": "rotor stopped",
    "EVENT_AUXILIARY": "regulator switched",
}


def escape_text(core: Any, now_s: float) -> str:
    """Where the plant has gone out of all bounds, or stands still in one moment; the events before that."""
    constants = {getattr(core, name): text for name, text in _QUANTITIES.items()}
    events = {getattr(core, name): text for name, text in _EVENTS.items()}
    state, history = core.plant_access(), core.plant_history_now()
    quantity = constants.get(core.plant_escaped())
    what = (
        "time stands still"
        if quantity is None
        else "the plant shows "
        + quantity.format(
            i="{:.4g}/{:.4g}/{:.4g}".format(*state.i_a),
            v=f"{state.v_bus_v:.4g}",
            w=f"{state.w_rad_s:.4g}",
        )
    )
    newest = [k % 8 for k in range(max(history.at - 4, 0), history.at)]
    before = "; ".join(
        f"{history.t_s[k] * 1e6:.3f} us {events[history.event[k]].format(leg='UVW'[history.leg[k]])}"
        for k in newest
    )
    return (
        f"{what} at {now_s:.9f} s, after {before or 'no event'}: beyond what the model holds for; check the "
        "numbers of drive.toml and the scenario's parts, and try `--plant equations`"
    )


def fault_text(core: Any, reason: int, settings: Settings, image: Image) -> str:
    """What the core's fault report means: place, virtual time, next step. `reason` is a core_reason."""
    fault = core.core_fault()
    pc = _acting(fault, image)
    line = image.line_of(pc)
    where = f" at {line} in {image.function_of(pc)}()" if line else ""
    now_s = core.core_now() / settings.f_cpu_hz
    place = f"in the handler of vector {fault.context}" if fault.context else "in the main line"
    after = f"after {fault.cycle / settings.f_cpu_hz:.6f} s of virtual time"
    if reason == core.CORE_OVERFLOWED:
        return (
            f"the comparator toggles faster than the rig follows, {now_s:.6f} s into the run; "
            "lower comparator_noise_mv in the scenario"
        )
    if reason in (core.CORE_STALLED, core.CORE_ESCAPED):
        return escape_text(core, float(core.plant_access().t_s))
    if reason == core.CORE_REFUSED:
        what = core_declarations().string(fault.what).decode()
        return f"not on the rig{where or ' in the firmware'} {after}, {place}: {what}"
    if reason == core.CORE_ILLEGAL:
        what = core_declarations().string(fault.what).decode()
        return f"the firmware sets what means nothing{where} {after}, {place}: {what}"
    if reason == core.CORE_RETURNED:
        end = "for (;;) { }" if settings.at_registers else "a loop that waits in port_idle()"
        return (
            f"main() returned {after}; the part would go on with interrupts off and the legs as they "
            f"stand. End main() in {end}"
        )
    if reason == core.CORE_CRASHED and fault.stack_overflow:
        return (
            f"the firmware's stack overflowed{where} {after}, {place}: look for a recursion without end, "
            "or for large local arrays"
        )
    if reason == core.CORE_CRASHED:
        what, advice = _CRASHES.get(fault.signal_number, (f"signal {fault.signal_number}", "look there"))
        return f"the firmware crashed{where} {after}, {place}: {what}; {advice}"
    if settings.at_registers and settings.block_cycles:
        return (
            f"the firmware hangs{where} {after}, {place}: a loop with interrupts off that touches no "
            "register; only a reset leads out of it. Turn interrupts on, or give the loop an end"
        )
    if any(settings.charged[:2]):
        return (
            f"the firmware hangs{where} {after}, {place}: an empty loop, which has no block to charge; "
            "wait in port_idle(), or call the port in the loop"
        )
    remedy = "set block_cycles in drive.toml to charge plain code"
    if not settings.at_registers:
        remedy = f"wait in port_idle(), or {remedy}"
    if fault.port_calls == 0:
        return (
            f"the firmware never calls the port: virtual time stands still in plain code{where}, {after}, "
            f"{place}; {remedy}"
        )
    return (
        f"the firmware hangs{where} {after}, {place}: a loop without a port call, in which no time passes; "
        f"{remedy}"
    )


def _acting(fault: Any, image: Image) -> int:
    """Where the firmware is that crashed, be it inside a function of the rig's; else the crash itself."""
    places = (fault.pc, fault.caller, *fault.chain[0 : fault.depth])
    return next((int(pc) for pc in places if image.line_of(pc)), int(fault.pc))


def failure(core: Any, reason: int, settings: Settings, image: Image) -> RigError:
    """The error to raise for a core_reason that ends a run: a FirmwareError where it was the firmware."""
    text = fault_text(core, reason, settings, image)
    fault = core.core_fault()
    kinds = {
        core.CORE_CRASHED: "crash",
        core.CORE_HUNG: "hang",
        core.CORE_RETURNED: "end of main",
        core.CORE_ILLEGAL: "illegal setting",
    }
    kind = kinds.get(reason)
    # firmware that never calls the port has not begun to run
    if kind is None or (kind == "hang" and fault.port_calls == 0):
        return RigError(text)
    if kind == "crash" and fault.stack_overflow:
        kind = "stack overflow"
    here = _acting(fault, image)
    outer = [int(pc) for pc in fault.chain[0 : fault.depth]]
    if here in outer:
        outer = outer[outer.index(here) + 1 :]
    calls = [(image.line_of(pc), image.function_of(pc)) for pc in outer]
    chain = tuple(call for call in calls if call[0])
    moment_s = fault.cycle / settings.f_cpu_hz
    return FirmwareError(
        *(text, kind, image.line_of(here), image.function_of(here) if image.line_of(here) else ""),
        *(moment_s, int(fault.context), chain),
    )
