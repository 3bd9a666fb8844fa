"""One replacement of text in a firmware file, so that a variant can be told in three lines."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Change:
    """In `file` (relative to the firmware's directory), `before` occurs once and becomes `after`."""

    file: str
    before: str
    after: str
