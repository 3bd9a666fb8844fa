"""One thing that is wrong with a drive as a whole."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from dryspin.drive.model import Drive


class Problem(NamedTuple):
    """Table and key to blame, and what follows them in the message."""

    table: str
    key: str
    text: str


Check = Callable[[Drive], Iterator[Problem]]
