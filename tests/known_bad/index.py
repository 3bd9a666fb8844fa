"""The README's table of known-bad firmwares, made of their index and their kept scenarios.

`python -m tests.known_bad.index` writes it.
"""

from dryspin.known_bad.index import CODE_CLAIMS
from dryspin.monitors import known_claims

from .variants import CODE, KNOWN_BAD, NAMES, UNSEEN, finding, head

README = KNOWN_BAD / "README.md"
HEAD = ["| firmware | what is wrong | claim | events |", "| --- | --- | --- | --- |"]
UNSEEN_HEAD = [
    "| not found | what is wrong | claim that should object | why none does |",
    "| --- | --- | --- | :-- |",
]


def table() -> list[str]:
    """Its lines, in the order of the claims."""
    claims = (*known_claims(), *CODE_CLAIMS)
    names = sorted({*NAMES, *CODE}, key=lambda name: (claims.index(head(name).claim), name))
    return HEAD + [
        f"| [{name}]({name}/drive.toml) | {head(name).wrong} | `{head(name).claim}` | {_events(name)} |"
        for name in names
    ]


def unseen_table() -> list[str]:
    """The lines on those that nothing objects to."""
    return UNSEEN_HEAD + [
        f"| [{name}]({name}/drive.toml) | {head(name).wrong} | `{head(name).claim}` | {head(name).unseen} |"
        for name in UNSEEN
    ]


def _events(name: str) -> str:
    return str(finding(name).scenario.events) if name in NAMES else "checked build"


def main() -> None:
    """Bring it up to date."""
    lines = README.read_text(encoding="utf-8").splitlines()
    for rows in (table(), unseen_table()):
        begin = lines.index(rows[0])
        end = next(k for k in range(begin, len(lines)) if not lines[k].startswith("|"))
        lines = [*lines[:begin], *rows, *lines[end:]]
    README.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
