"""Where the variables of a firmware lie in its image."""

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from elftools.elf.elffile import ELFFile
from elftools.elf.sections import SymbolTableSection

from dryspin.build.lines import spoken
from dryspin.errors import BuildError


@dataclass(frozen=True)
class Place:
    """A variable's offset from the library's first byte, and its size in bytes."""

    at: int
    size: int


class Variables:
    """The variables of one image by name: "file.c:name", or "name" alone where only one file has it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._places: dict[str, list[Place]] = {}
        source = ""
        found: list[tuple[str, str, Place]] = []
        with path.open("rb") as stream:
            table = ELFFile(stream).get_section_by_name(".symtab")
            for symbol in table.iter_symbols() if isinstance(table, SymbolTableSection) else ():
                kind = symbol["st_info"]["type"]
                if kind == "STT_FILE":
                    source = Path(symbol.name).name
                    source = source.removesuffix(".cpp") if source.endswith(".ino.cpp") else source
                elif kind == "STT_OBJECT" and symbol["st_size"]:
                    place = Place(int(symbol["st_value"]), int(symbol["st_size"]))
                    found.append((symbol.name, source, place))
        for name, (_, source, place) in zip(spoken([each[0] for each in found]), found, strict=True):
            for known in (name, f"{source}:{name}"):
                self._places.setdefault(known, []).append(place)

    def place_of(self, name: str) -> Place:
        """The variable of that name. Raises BuildError where there is none, or more than one."""
        found = self._places.get(name, [])
        if len(found) == 1:
            return found[0]
        if found:
            raise BuildError(f'{name}: several files have a variable of that name; write "file.c:{name}"')
        near = get_close_matches(name, [key for key in self._places if ":" in key], n=1, cutoff=0.3)
        hint = f"did you mean {near[0]!r}?" if near else 'write "file.c:name"'
        raise BuildError(f"{name}: the firmware has no such variable; {hint}")
