"""Where the part's sources, the firmware's headers and the sketch functions lie."""

from functools import cache
from pathlib import Path

HERE = Path(__file__).resolve().parent
PART = HERE / "part"
INCLUDE = HERE / "include"
SKETCH = HERE / "sketch"
HEADER_FOLDERS = (str(INCLUDE), str(SKETCH))


def _texts(*folders: Path) -> dict[str, str]:
    return {
        path.relative_to(HERE).as_posix(): path.read_text(encoding="utf-8")
        for folder in folders
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix in (".c", ".h", ".cpp")
    }


@cache
def part_texts() -> dict[str, str]:
    """Sources and headers of the part, and the register names it shares with the firmware."""
    return _texts(PART, INCLUDE)


@cache
def firmware_side_texts() -> dict[str, str]:
    """What firmware is compiled against: headers, and the functions of sketches."""
    return _texts(INCLUDE, SKETCH)


@cache
def treatment_texts() -> dict[str, str]:
    """The modules that change sources and assembly: other text in them, other images."""
    names = ("assembly.py", "glue.py", "sketch.py", "translate.py")
    return {name: (HERE / name).read_text(encoding="utf-8") for name in names}
