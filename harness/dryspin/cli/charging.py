"""Other cycles for the code of a check: factors as they are given, and the subject charged by each."""

from collections.abc import Iterable
from dataclasses import replace

from dryspin.build import build_image
from dryspin.errors import UsageError
from dryspin.findings import Subject
from dryspin.search.code_cycles import charged, charged_drive
from dryspin.target import code_costs

LEAST, MOST = 0.1, 10.0
"""As for `code_cycles_factor` in drive.toml."""


def factors_of(text: str | None, option: str) -> list[float]:
    """ "0.5,2" as numbers, each once, rising; none for None. Raises UsageError for what is no factor."""
    found = set()
    for part in text.split(",") if text is not None else ():
        try:
            factor = float(part)
        except ValueError:
            factor = float("nan")
        if not LEAST <= factor <= MOST:
            raise UsageError(
                f"{option} {text}: {part.strip()!r} is no factor from {LEAST:g} to {MOST:g}; give them with "
                "commas between, as 0.5,2"
            )
        found.add(factor)
    return sorted(found)


def charged_subjects(subject: Subject, factors: Iterable[float]) -> dict[float, Subject]:
    """By factor, the subject with its code charged so, as `code_cycles = "object code"` charges it.

    It is built as that asks for: in blocks as the source has them. Optimised, lines are spread over blocks of
    others, and take their cycles at other moments. Raises BuildError, and TargetError where the part's
    compiler is missing or objects: here, so that it is told before anything runs.
    """
    wanted = tuple(factors)
    if not wanted:
        return {}
    drive = charged_drive(subject.drive, 1.0)
    built = replace(subject, image=build_image(drive, subject.directory))
    code_costs(drive, built.image)
    return {factor: charged(built, factor) for factor in wanted}
