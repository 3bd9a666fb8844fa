"""`dryspin new`: the files that make a firmware's directory one that can be checked."""

from pathlib import Path

import click

from dryspin.cli.options import DIRECTORY, FILE

SOURCES = ("*.c", "*.cpp", "*.ino")


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("directory", metavar="DIR", type=DIRECTORY)
@click.option(
    "--from",
    "sketch",
    type=FILE,
    metavar="SKETCH",
    help="Copy this source (.c, .cpp, .ino) into DIR first, unchanged.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def new(directory: Path, sketch: Path | None, as_json: bool) -> int:
    """Make DIR a directory that `dryspin check` takes.

    Writes drive.toml, claims.toml, a first test, a CI script and .gitignore. Pins, carrier, clock and what
    counts as a pulse are filled in where the sources in DIR, or SKETCH, show them: by what they write and
    the names they give; a comment is a hint. Where that leaves a doubt, drive.toml has a TO DO with what
    might be meant. What sources cannot tell, such as the motor's inductance, stands there as a range. All
    of it is listed under `unknown`, and a check says what is still in that list. Where there is no source, a
    firmware that keeps all gates off is written as well.

    Nothing that stands there already is overwritten. A pass is no permission to spin.

    Exits with 0, or with 2 if nothing was written.
    """
    import json

    from dryspin.cli.output import print_lines, write_whole
    from dryspin.cli.start_drive import drive_text
    from dryspin.cli.start_files import CI, CLAIMS, EMPTY_FIRMWARE, FIRST_TEST, GITIGNORE
    from dryspin.drive import load_drive
    from dryspin.errors import UsageError
    from dryspin.registers.survey import surveyed

    if sketch is not None and sketch.suffix not in (".c", ".cpp", ".ino"):
        raise UsageError(f"--from {sketch}: is no source; give a .c, .cpp or .ino file")
    try:
        given = sketch.read_bytes() if sketch is not None else b""
        directory.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{error.filename}: {error.strerror}; give another place") from None
    standing = sorted(path for pattern in SOURCES for path in directory.glob(pattern))
    texts = {path.name: path.read_text("utf-8", "replace") for path in standing}
    files: dict[str, str] = {}
    if sketch is not None:
        texts[sketch.name] = given.decode("utf-8", "replace")
        if not (directory / sketch.name).exists() or (directory / sketch.name).read_bytes() != given:
            files[sketch.name] = texts[sketch.name]
    if not texts:
        files["main.c"] = texts["main.c"] = EMPTY_FIRMWARE
    seen = surveyed("\n".join(texts.values()), any(name.endswith(".ino") for name in texts))
    name = directory.resolve().name.replace('"', "").replace("\\", "")
    files |= {
        "drive.toml": drive_text(name, tuple(texts), seen),
        "claims.toml": CLAIMS,
        "tests/test_first.py": FIRST_TEST,
        ".ci/run": CI,
        ".gitignore": GITIGNORE,
    }
    for file in files:
        if (directory / file).exists():
            raise UsageError(
                f"{directory / file}: is there already, and nothing is overwritten; "
                "move it away, or give another directory"
            )
    for file, text in files.items():
        (directory / file).parent.mkdir(parents=True, exist_ok=True)
        write_whole(directory / file, text)
    (directory / ".ci/run").chmod(0o755)
    drive = load_drive(directory)
    if as_json:
        click.echo(
            json.dumps({"schema": 1, "written": list(files), "unknown": list(drive.unknown)}, indent=2)
        )
        return 0
    print_lines(
        [
            *(f"wrote {directory / file}" for file in files),
            "",
            f"still unknown: {', '.join(drive.unknown)}",
            f"next: dryspin check {directory}",
        ]
    )
    return 0
