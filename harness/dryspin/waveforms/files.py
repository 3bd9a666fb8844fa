"""Files written whole or not at all: beside the target first, then renamed."""

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from dryspin.errors import UsageError

Notice = Callable[[str, int, int], None]
"""Told (what, done, total) now and then."""


def silent(_what: str, _done: int, _total: int) -> None:
    """A notice that nobody reads."""


@contextmanager
def whole_file(path: Path, mode: str = "w") -> Iterator[IO[Any]]:
    """A file that takes the place of `path` when the block ends well; UsageError where it cannot."""
    scratch = None
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        text = {} if "b" in mode else {"encoding": "utf-8", "newline": ""}
        with os.fdopen(handle, mode, **text) as file:  # type: ignore[call-overload]
            yield file
        Path(scratch).chmod(0o644)
        Path(scratch).replace(path)
    except OSError as error:
        if scratch is not None:
            Path(scratch).unlink(missing_ok=True)
        raise UsageError(
            f"{path} cannot be written ({error.strerror or error}); give another place"
        ) from None
    except BaseException:
        if scratch is not None:
            Path(scratch).unlink(missing_ok=True)
        raise
