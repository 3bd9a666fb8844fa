"""Faults of the C as text: one paragraph a fault."""

from collections.abc import Iterable

from dryspin.faults import Code, Fault
from dryspin.report.numbers import number


def code_lines(code: Code) -> list[str]:
    """What checked runs showed: how much ran, every fault, reasons that were not needed."""
    count = len(code.open_faults)
    faults = "no fault" if count == 0 else f"{count} fault{'s' if count > 1 else ''}"
    explained = len(code.faults) - count
    lines = [
        f"the C itself: {code.runs} scenarios with the checked build, {number(code.simulated_s)} s, "
        f"{faults}" + (f", {explained} explained in drive.toml" if explained else "")
    ]
    lines += fault_lines(code.open_faults)
    lines += [
        f"[[shared]] {name} explains nothing that these scenarios show; take it out if the code has changed"
        for name in code.unused_reasons
    ]
    if code.left_out:
        lines.append(f"not looked at: {code.left_out}")
    return lines


def fault_lines(faults: Iterable[Fault]) -> list[str]:
    """Kind, place and subject of each fault in a line; below, the other side, the moment and the calls."""
    lines = []
    for fault in faults:
        variable = f"{fault.variable}, " if fault.variable and fault.against else ""
        lines.append(f"fault  {fault.kind}: {fault.place}: {variable}{fault.text}")
        if fault.against:
            lines.append(f"   against {fault.against}")
        if fault.moment_s is not None and fault.kind in ("undefined", "out of bounds", "int width"):
            where = f"in the handler of vector {fault.vector}" if fault.vector else "in the main line"
            lines.append(f"   first at {fault.moment_s:.6f} s" + (f", {where}" if fault.chain else ""))
        if fault.chain:
            lines.append("   called from " + ", from ".join(str(place) for place in fault.chain))
    return lines
