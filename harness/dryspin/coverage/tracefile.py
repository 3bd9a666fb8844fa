"""Coverage for other tools: the tracefile of geninfo(1), and Cobertura XML made from it by a library."""

from dryspin.coverage.covered import Coverage, Mark
from dryspin.errors import UsageError

INSTALL = "pip install 'dryspin[coverage]'"


def lcov_text(coverage: Coverage, folder: str) -> str:
    """The tracefile: lines (DA) and branches (BRDA) by source, paths below `folder`. geninfo(1), "FILES"."""
    lines, branches = coverage.lines, coverage.branches
    text = []
    for file in sorted({mark.file for mark in coverage.marks}):
        text += ["TN:", f"SF:{folder}/{file}"]
        own = [mark for mark in branches if mark.file == file]
        for number, mark in enumerate(own):
            first = next(k for k, other in enumerate(own) if _same_place(mark, other))
            reached = lines.get((file, mark.line), False)
            taken = str(int(branches[mark])) if reached else "-"
            text.append(f"BRDA:{mark.line},{first},{number - first},{taken}")
        text += [f"BRF:{len(own)}", f"BRH:{sum(branches[mark] for mark in own)}"]
        rows = {line: reached for (name, line), reached in lines.items() if name == file}
        text += [f"DA:{line},{int(reached)}" for line, reached in rows.items()]
        text += [f"LF:{len(rows)}", f"LH:{sum(rows.values())}", "end_of_record"]
    return "\n".join(text) + "\n"


def cobertura_text(coverage: Coverage, folder: str) -> str:
    """The same as Cobertura XML. Raises UsageError where the library is not installed."""
    try:
        from lcov_cobertura import LcovCobertura
    except ImportError:
        raise UsageError(f"Cobertura XML needs the package lcov_cobertura: {INSTALL}") from None
    return str(LcovCobertura(lcov_text(coverage, folder), base_dir=folder).convert())


def _same_place(mark: Mark, other: Mark) -> bool:
    return (mark.line, mark.column) == (other.line, other.column)
