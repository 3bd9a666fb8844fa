"""What became of mutants, as text and as plain data."""

from collections.abc import Callable, Iterable
from typing import Any

from dryspin.drive import Drive
from dryspin.mutate import KINDS, Campaign, Mutant
from dryspin.mutate.campaign import KILLED, NOT_BUILT, SAME_CODE, SURVIVED, TWIN
from dryspin.mutate.judging import CANNOT_RUN, NOT_EXERCISED
from dryspin.mutate.own_tests import BY_TEST
from dryspin.report.numbers import number

SCHEMA = 1

CAUTION = (
    "Killed means: a test objects to the change or, in these scenarios, on this model, a claim. What "
    "survives is what they leave open; that none survives is no permission to spin."
)


def campaign_json(campaign: Campaign) -> dict[str, Any]:
    """The whole result; all but `wall_s` is the same for the same firmware, claims, options and kept."""
    return {
        "schema": SCHEMA,
        "totals": {
            "changes": campaign.made,
            "tried": len(campaign.mutants),
            "does_not_build": len(campaign.of(NOT_BUILT)),
            "same_machine_code": len(campaign.of(SAME_CODE)),
            "same_as_another": len(campaign.of(TWIN)),
            "judged": campaign.judged,
            "killed": len(campaign.of(KILLED)),
            "survived": len(campaign.of(SURVIVED)),
            "killed_share": _share(campaign.mutants),
            "scenarios": campaign.scenarios,
            "kept_scenarios": campaign.kept,
            "scenarios_run": sum(mutant.scenarios for mutant in campaign.mutants),
            "simulated_s": sum(mutant.simulated_s for mutant in campaign.mutants),
            "seed": campaign.seed,
            "wall_s": campaign.wall_s,
        },
        "not_understood": list(campaign.gaps),
        "mutants": [
            {
                "file": mutant.mutation.file,
                "line": mutant.mutation.line,
                "function": mutant.mutation.function or None,
                "kind": mutant.mutation.kind,
                "before": mutant.mutation.before,
                "after": mutant.mutation.after,
                "old_line": mutant.mutation.old_line,
                "new_line": mutant.mutation.new_line,
                "verdict": mutant.verdict,
                "by": mutant.by or None,
                "scenarios": mutant.scenarios,
                "reached": mutant.reached,
                "differs": mutant.differs,
            }
            for mutant in campaign.mutants
        ],
    }


def campaign_lines(campaign: Campaign, drive: Drive, killed_too: bool = False) -> list[str]:
    """Totals, shares by file and by kind, and every survivor with its line before and after."""
    tried = len(campaign.mutants)
    of = f" of {campaign.made}" if tried < campaign.made else ""
    lines = [
        f"{drive.name}: {tried}{of} changes, {_asked(campaign)}, seed {campaign.seed}, "
        f"in {number(campaign.wall_s)} s",
        f"{len(campaign.of(NOT_BUILT))} do not build, {len(campaign.of(SAME_CODE))} leave the machine code "
        f"as it is, {len(campaign.of(TWIN))} make the same machine code as another",
    ]
    lines += [f"{place}: not understood by the C parser, left as it is" for place in campaign.gaps]
    lines += ["", *_table("file", campaign, lambda mutant: mutant.mutation.file)]
    lines += ["", *_table("kind", campaign, lambda mutant: mutant.mutation.kind, KINDS)]
    if killed_too:
        lines.append("")
        for mutant in campaign.of(KILLED):
            lines += _mutant_lines(mutant)
    survivors = campaign.of(SURVIVED)
    if survivors:
        lines.append("")
    for mutant in survivors:
        lines += _mutant_lines(mutant)
    return [*lines, "", *_conclusion(campaign)]


def _asked(campaign: Campaign) -> str:
    if not campaign.scenarios:
        return "tests only"
    return f"up to {campaign.scenarios} scenarios each and {campaign.kept} kept"


def _conclusion(campaign: Campaign) -> list[str]:
    killed = campaign.of(KILLED)
    cannot_run = sum(mutant.by == CANNOT_RUN for mutant in killed)
    idle = sum(mutant.by.startswith(NOT_EXERCISED) for mutant in killed)
    by_test = sum(mutant.by.startswith(BY_TEST) for mutant in killed)
    survivors = len(campaign.of(SURVIVED))
    share = _share(campaign.mutants)
    lines = [
        f"{len(killed)} of {campaign.judged} killed{'' if share is None else f' ({100.0 * share:.0f} %)'}: "
        f"{f'{by_test} by a test, ' * bool(by_test)}"
        f"{len(killed) - by_test - cannot_run - idle} by a broken claim, {cannot_run} that cannot be run, "
        f"{idle} that leave a claim unexercised"
    ]
    if survivors and not campaign.scenarios:
        lines.append(f"{survivors} survived the tests; no scenario was asked")
    elif survivors:
        lines.append(
            f"{survivors} survived: the claims do not constrain these lines in these scenarios; declare a "
            "claim, raise --scenarios, or test the function by itself (dryspin.call)"
        )
    return [*lines, CAUTION]


def _table(
    head: str, campaign: Campaign, key: Callable[[Mutant], str], order: Iterable[str] = ()
) -> list[str]:
    present = list(map(key, campaign.mutants))
    found = dict.fromkeys([*(name for name in order if name in present), *present])
    width = max(len(head), *(len(name) for name in found))
    lines = [f"{head:<{width}}  judged  killed  share"]
    for name in found:
        group = [mutant for mutant in campaign.mutants if key(mutant) == name]
        judged = sum(mutant.verdict in (KILLED, SURVIVED) for mutant in group)
        killed = sum(mutant.verdict == KILLED for mutant in group)
        share = _share(group)
        shown = "" if share is None else f"{100.0 * share:.0f} %"
        lines.append(f"{name:<{width}}  {judged:>6}  {killed:>6}  {shown:>5}")
    return lines


def _mutant_lines(mutant: Mutant) -> list[str]:
    mutation = mutant.mutation
    where = f" in {mutation.function}()" if mutation.function else ""
    how = (
        f" by {mutant.by}"
        if mutant.by
        else ""
        if mutant.differs
        else "; in no scenario is anything different"
    )
    how = how if mutant.reached else "; no scenario gets there"
    return [
        f"{mutant.verdict}  {mutation.file}:{mutation.line}{where}: {mutation.kind}{how}",
        f"    - {mutation.old_line}",
        f"    + {mutation.new_line}",
    ]


def _share(mutants: Iterable[Mutant]) -> float | None:
    verdicts = [mutant.verdict for mutant in mutants]
    judged = verdicts.count(KILLED) + verdicts.count(SURVIVED)
    return verdicts.count(KILLED) / judged if judged else None
