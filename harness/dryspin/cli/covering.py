"""Coverage for `dryspin check`: the marked build while it is needed, and the file."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dryspin.build.register_workshop import workshop
from dryspin.coverage import Coverage, Covering, cobertura_text, lcov_text
from dryspin.findings import Subject


@contextmanager
def covering_of(subject: Subject, file: Path | None) -> Iterator[Covering | None]:
    """The firmware of the subject with marks, for as long as the check runs; None without a file."""
    if file is None:
        yield None
        return
    with tempfile.TemporaryDirectory(prefix="dryspin-coverage-") as folder:
        plain = workshop(subject.drive, subject.directory, Path(folder) / "plain")
        yield Covering(plain, Path(folder) / "marked")


def tracefile(coverage: Coverage, file: Path, firmware_dir: Path) -> str:
    """The file's content, by its suffix."""
    make = cobertura_text if file.suffix == ".xml" else lcov_text
    return make(coverage, firmware_dir.as_posix())
