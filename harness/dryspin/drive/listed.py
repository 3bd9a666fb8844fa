"""A list of tables of a drive file, `[[name]]`, the whole list from the nearest file that gives any."""

from collections.abc import Iterator, Sequence

from dryspin.drive.document import Document
from dryspin.drive.section import Section
from dryspin.errors import DriveError


def listed_tables(sheets: Sequence[Document], name: str, what: str) -> Iterator[Section]:
    """The tables of the list, none where no file has it; `what` one of them is. Raises `DriveError`.

    A list is taken whole, as a table is: one from two files would be one that nobody wrote down.
    """
    sheet = next((sheet for sheet in sheets if name in sheet.data), None)
    if sheet is None:
        return
    tables = sheet.data[name]
    if not isinstance(tables, list):
        raise DriveError(
            f"{sheet.where(name)}: {name} is not a list of tables. Write "
            f"[[{name}]] on a line of its own and the keys of {what} below."
        )
    for k, table in enumerate(tables):
        yield Section.of(sheet, table, name, k)
