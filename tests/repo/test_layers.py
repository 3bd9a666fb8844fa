"""The house's one rule of dependence: imports go only to layers further down."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "harness" / "dryspin"

LAYERS = (
    "errors", "units", "port", "drive", "scenario", "plant", "core", "registers", "build", "target",
    "recording", "rig", "call", "faults", "lint", "monitors", "waveforms", "capture", "findings", "timing",
    "search", "known_bad", "mutate", "coverage", "enumerate", "soak", "report", "plugin", "cli",
)  # fmt: skip
"""From the ground up, as the table of the house has it; the package itself belongs below all."""

MODULES = sorted(PACKAGE.rglob("*.py"))


def layer_of(parts: tuple[str, ...]) -> str:
    """The layer of dryspin.<parts>; empty for the package itself."""
    return parts[0] if parts else ""


def imported(module: Path) -> list[tuple[int, str]]:
    """(line, layer) of every import of dryspin in a module, also those inside functions."""
    here = ("dryspin", *module.relative_to(PACKAGE).with_suffix("").parts)
    found = []
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(here[: -node.level]) if node.level else ""
            whole = ".".join(part for part in (base, node.module or "") if part)
            names = [f"{whole}.{alias.name}" for alias in node.names] if whole == "dryspin" else [whole]
        else:
            continue
        ours = [name.split(".")[1:] for name in names if name.split(".")[0] == "dryspin"]
        found += [(node.lineno, layer_of(tuple(parts))) for parts in ours]
    return found


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_only_to_lower_layers(module):
    """Data flows one way: whatever stands left knows nothing of what stands right."""
    own = layer_of(module.relative_to(PACKAGE).with_suffix("").parts)
    if own == "__init__":
        assert imported(module) == []
        return
    upwards = [
        f"{module.name}:{line} imports {layer}"
        for line, layer in imported(module)
        if layer in LAYERS and LAYERS.index(layer) > LAYERS.index(own)
    ]

    assert upwards == []


def test_every_part_of_the_package_has_its_layer():
    """A new part must take its place in the order, here and in the table."""
    parts = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py" or path.is_dir()}

    assert parts - {"__init__", "__pycache__", "_version"} <= set(LAYERS)


def test_errors_and_units_stand_on_nothing_but_each_other():
    """Everybody imports them."""
    used = {layer for name in ("errors", "units") for _, layer in imported(PACKAGE / f"{name}.py")}

    assert used <= {"errors"}


def test_an_upward_import_would_be_seen(tmp_path):
    """The test that looks is itself looked at: plain, from, relative, and inside a function."""
    module = PACKAGE / "drive" / "sample.py"
    source = (
        "import dryspin.rig\nfrom dryspin import cli\nfrom ..search import check\n"
        "def later():\n    from dryspin.report.text import verdict_line\n"
    )
    path = tmp_path / "sample.py"
    path.write_text(source)

    class Elsewhere(type(module)):
        def read_text(self, encoding=None):
            return path.read_text()

    assert imported(Elsewhere(module)) == [(1, "rig"), (2, "cli"), (3, "search"), (5, "report")]
