"""The README's table of known-bad firmwares, made of their index and their kept scenarios.

`python -m tests.known_bad.index` writes it.
"""

from dryspin.monitors import known_claims

from .variants import KNOWN_BAD, NAMES, finding, head

README = KNOWN_BAD / "README.md"
HEAD = ["| firmware | what is wrong | claim | events |", "| --- | --- | --- | --- |"]


def table() -> list[str]:
    """Its lines, in the order of the claims."""
    claims = known_claims()
    names = sorted(NAMES, key=lambda name: (claims.index(head(name).claim), name))
    return HEAD + [
        f"| [{name}]({name}/drive.toml) | {head(name).wrong} | `{head(name).claim}` "
        f"| {finding(name).scenario.events} |"
        for name in names
    ]


def main() -> None:
    """Bring it up to date."""
    lines = README.read_text(encoding="utf-8").splitlines()
    begin = lines.index(HEAD[0])
    end = next(k for k in range(begin, len(lines)) if not lines[k].startswith("|"))
    README.write_text("\n".join([*lines[:begin], *table(), *lines[end:]]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
