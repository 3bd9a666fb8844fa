"""Variables shared with handlers that a drive file explains: `[[shared]]`, one table each."""

from collections.abc import Sequence

from dryspin.drive import schema
from dryspin.drive.document import Document
from dryspin.drive.listed import listed_tables
from dryspin.drive.model import Shared


def read_shared(sheets: Sequence[Document]) -> tuple[Shared, ...]:
    """All of the nearest file that gives any; raises `DriveError`."""
    found: list[Shared] = []
    for section in listed_tables(sheets, schema.SHARED, "one variable"):
        each = Shared(**section.read(schema.SHARED_ENTRY))
        if any(other.variable == each.variable for other in found):
            raise section.problem(
                "variable", f' = "{each.variable}" is explained already. Put both reasons into one.'
            )
        found.append(each)
    return tuple(found)
