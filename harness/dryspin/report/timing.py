"""What handlers take on the part, as text and as plain data."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

from dryspin.findings import BROKEN, NOT_EXERCISED, Trial
from dryspin.report.json import outcome_json
from dryspin.report.numbers import margin, number
from dryspin.search.tally import Tally
from dryspin.timing import Measured, Sensitivity
from dryspin.timing.handlers import handler_name
from dryspin.timing.steps import StepTime


def timing_lines(measured: Measured) -> list[str]:
    """Handlers, steps, interrupts off, stack, then what other cycles would change."""
    f_mhz = measured.drive.controller.f_cpu_hz * 1e-6
    lines = [f"{measured.drive.name}: cycles of the object code by {measured.compiler}, at {f_mhz:g} MHz"]
    lines += [f"a count of passes is assumed: {place}" for place in measured.assumed]
    lines += ["", f"{'handler':<20}{'calls':>8}{'longest':>22}{'mean':>10}{'of top speed':>15}"]
    for each in measured.handlers:
        longest = f"{each.longest} cycles {each.longest / f_mhz:.1f} us"
        name = handler_name(each.vector, measured.drive)
        lines.append(f"{name:<20}{each.calls:>8}{longest:>22}{each.mean:>10.0f}{each.at_top:>14.1%}")
    busy = sum(each.at_top for each in measured.handlers)
    lines.append(f"{'all handlers':<20}{'':>8}{'':>22}{'':>10}{busy:>14.1%}")
    off = measured.off
    who = off.line or f"from the begin of {_handler_of(measured)}"
    lines.append(f"interrupts off for {off.cycles} cycles, {off.cycles / f_mhz:.1f} us, at most: {who}")
    lines += ["", *step_lines(measured.plain, f_mhz), "", *stack_lines(measured), ""]
    return lines + sensitivity_lines(measured.factors)


def _handler_of(measured: Measured) -> str:
    """Whose begin turned interrupts off for longest."""
    return handler_name(measured.off.vector, measured.drive)


def step_lines(plain: Sensitivity, f_mhz: float) -> list[str]:
    """What a step takes at top speed, what came late, and the speed up to which all is in time."""
    steps, late = plain.steps, plain.lateness
    late_line = f"   outside the limits of commutation.angle: {late.outside} of {late.commutations}" + (
        f", the slowest at {_rpm(late.slowest_rpm)}" if late.slowest_rpm is not None else ""
    )
    if steps is None and late.commutations == 0:
        return ["no step was commutated by a handler: give a scenario in which the rotor runs"]
    if steps is None:
        said = "the main line commutates, and no handler: how long it takes for a step is not measured"
        if late.slowest_rpm is not None:
            below = f"in these runs every commutation meets its deadline below {_rpm(late.slowest_rpm)}"
            return [said, late_line, below]
        return [said, late_line]
    lines = [
        f"top speed {_rpm(steps.top_rpm)}: a step of {steps.step:.0f} cycles, "
        f"{steps.step / f_mhz:.0f} us; {steps.steps} steps looked at",
        f"   handlers in one step: {steps.work} cycles at most, so all of a step at {_rpm(steps.work_rpm)}",
        f"   from a crossing's handler to the bridge: {steps.reaction} cycles at most, so all of half a step "
        f"at {_rpm(steps.reaction_rpm)}, without an advance",
        late_line,
    ]
    if plain.in_time_rpm is not None:
        lines.append(f"in these runs every commutation meets its deadline up to {_rpm(plain.in_time_rpm)}")
    return lines


def _rpm(value: float) -> str:
    return f"{number(round(value))} rpm"


def stack_lines(measured: Measured) -> list[str]:
    """Stack of every nesting that the runs came to, against the part's memory."""
    stack = measured.stack
    lines = [
        f"{'held' if measured.fits else 'fault'}  memory: {stack.variables} bytes of variables, of "
        f"{stack.ram}; stack at most, by what had interrupted what"
    ]
    main = stack.nested(())
    lines.append(f"   {'main':<44}{main:>5} bytes, {stack.variables + main} with variables")
    for each in measured.nested:
        chain = " <- ".join(("main", *(handler_name(vector, measured.drive) for vector in each.vectors)))
        whole = stack.variables + each.stack_bytes
        lines.append(f"   {chain:<44}{each.stack_bytes:>5} bytes, {whole} with variables; {each.times} times")
    return lines


def sensitivity_lines(factors: Sequence[Sensitivity]) -> list[str]:
    """Verdicts of all runs at each factor, and each claim that changes, or is broken, at one of them."""
    lines = []
    for each in factors:
        tallies: dict[str, Tally] = {}
        for trial in each.trials:
            for outcome in trial.outcomes if isinstance(trial, Trial) else ():
                tallies.setdefault(outcome.claim, Tally()).add(outcome)
        counts = Counter(tally.verdict for tally in tallies.values())
        told = ", ".join(f"{count} {status}" for status, count in sorted(counts.items()))
        if each.in_time_rpm is not None:
            told += f"; commutations in time up to {_rpm(each.in_time_rpm)}"
        ended = [trial for trial in each.trials if isinstance(trial, str)]
        lines.append(f"cycles x {each.factor:g}: {'; '.join([*([told] if told else []), *ended])}")
    changed = changed_claims(factors)
    for name in changed:
        row = "; ".join(f"x {each.factor:g} {_worst(each, name)}" for each in factors)
        lines.append(f"   {name}: {row}")
    if not changed:
        lines.append("no verdict depends on these factors")
    return lines


def changed_claims(factors: Sequence[Sensitivity]) -> list[str]:
    """Claims that broke at a factor, or whose verdict differs between two of them."""
    names: dict[str, set[str]] = {}
    for each in factors:
        for k, trial in enumerate(each.trials):
            for outcome in trial.outcomes if isinstance(trial, Trial) else ():
                names.setdefault(f"{outcome.claim} {k}", set()).add(outcome.status)
    found = [key.split()[0] for key, seen in names.items() if len(seen) > 1 or BROKEN in seen]
    return list(dict.fromkeys(found))


def _worst(each: Sensitivity, claim: str) -> str:
    judged = [trial.of(claim) for trial in each.trials if isinstance(trial, Trial)]
    known = [outcome for outcome in judged if outcome.margin is not None]
    if not known:
        return judged[0].status if judged else NOT_EXERCISED
    worst = min(known, key=lambda outcome: outcome.margin or 0.0)
    return f"{worst.status} {margin(worst.margin)}"


def timing_json(measured: Measured) -> dict[str, Any]:
    """The same as plain data; cycles unless a name says otherwise."""
    stack = measured.stack
    return {
        "schema": 1,
        "drive": measured.drive.name,
        "compiler": measured.compiler,
        "f_cpu_hz": measured.drive.controller.f_cpu_hz,
        "assumed": list(measured.assumed),
        "handlers": [
            {
                "handler": handler_name(each.vector, measured.drive),
                "vector": each.vector,
                "calls": each.calls,
                "longest_cycles": each.longest,
                "longest_at_s": each.longest_at_s,
                "mean_cycles": each.mean,
                "share_at_top_speed": each.at_top,
            }
            for each in measured.handlers
        ],
        "interrupts_off": {
            "longest_cycles": measured.off.cycles,
            "line": measured.off.line or None,
            "handler": None if measured.off.line else _handler_of(measured),
        },
        "steps": _steps_json(measured.steps),
        "memory": {
            "variable_bytes": stack.variables,
            "ram_bytes": stack.ram,
            "main_bytes": stack.nested(()),
            "fits": measured.fits,
            "nested": [
                {
                    "handlers": [handler_name(vector, measured.drive) for vector in each.vectors],
                    "times": each.times,
                    "stack_bytes": each.stack_bytes,
                }
                for each in measured.nested
            ],
            "unknown": stack.unknown or None,
        },
        "factors": [
            {
                "factor": each.factor,
                "steps": _steps_json(each.steps),
                "commutations": each.lateness.commutations,
                "outside_commutation_angle": each.lateness.outside,
                "slowest_outside_rpm": each.lateness.slowest_rpm,
                "in_time_up_to_rpm": each.in_time_rpm,
                "runs": [
                    {"ended": trial}
                    if isinstance(trial, str)
                    else {"claims": [outcome_json(outcome) for outcome in trial.outcomes]}
                    for trial in each.trials
                ],
            }
            for each in measured.factors
        ],
        "changed": changed_claims(measured.factors),
    }


def _steps_json(steps: StepTime | None) -> dict[str, Any] | None:
    if steps is None:
        return None
    return {
        "top_rpm": steps.top_rpm,
        "steps": steps.steps,
        "step_cycles": steps.step,
        "work_cycles": steps.work,
        "reaction_cycles": steps.reaction,
        "work_limit_rpm": steps.work_rpm,
        "reaction_limit_rpm": steps.reaction_rpm,
        "limit_rpm": steps.limit_rpm,
        "limited_by": steps.by,
    }
