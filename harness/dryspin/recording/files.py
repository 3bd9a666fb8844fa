"""Recordings on disk: an .npz archive of the two arrays and a JSON header.

Written beside the target and renamed, so that a reader never meets half a file. The header keeps
the firmware line of every program counter in the recording, so that findings stay readable
without the firmware image.
"""

import json
import os
import tempfile
import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryspin.drive import Drive
from dryspin.errors import RecordingError
from dryspin.recording.codec import from_plain, to_plain
from dryspin.recording.recording import Recording
from dryspin.scenario import Scenario

FORMAT = 1
"""Version of the file format; readers refuse any other."""

_AGAIN = "record the run again with this version"


def save_recording(recording: Recording, path: Path, *, compress: bool = False) -> None:
    """Write `recording` to `path` at once or not at all.

    Uncompressed by default: a simulated second is some 11 MB and takes a blink; compressed it is
    about a fifth and takes seconds. Raises `RecordingError` where the place cannot be written.
    """
    header = {
        "dryspin_recording": FORMAT,
        "f_cpu_hz": recording.f_cpu_hz,
        "end_cycle": recording.end_cycle,
        "image_digest": recording.image_digest,
        "digest": recording.digest(),
        "drive": to_plain(recording.drive),
        "scenario": to_plain(recording.scenario),
        "lines": _lines(recording),
        "store": recording.store.hex(),
    }
    text = np.frombuffer(json.dumps(header).encode(), np.uint8)
    write = np.savez_compressed if compress else np.savez
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    except OSError as error:
        raise RecordingError(f"{path}: cannot be written ({error.strerror}); choose another place") from error
    try:
        with os.fdopen(handle, "wb") as file:
            write(file, header=text, edges=recording.edges, states=recording.states)
        Path(scratch).replace(path)
    except OSError as error:
        Path(scratch).unlink(missing_ok=True)
        raise RecordingError(f"{path}: cannot be written ({error.strerror}); choose another place") from error
    except BaseException:
        Path(scratch).unlink(missing_ok=True)
        raise


def load_recording(path: Path) -> Recording:
    """The recording in `path`.

    Raises `RecordingError` where the file is missing, damaged, or of another version.
    """
    header, edges, states = _read(path)
    version = header.get("dryspin_recording")
    if version != FORMAT:
        raise RecordingError(
            f"{path}: is of version {version!r} of the format, this dryspin reads {FORMAT}; {_AGAIN}"
        )
    try:
        lines = {int(pc): str(line) for pc, line in header["lines"].items()}
        recording = Recording(
            edges=edges,
            states=states,
            f_cpu_hz=float(header["f_cpu_hz"]),
            end_cycle=int(header["end_cycle"]),
            drive=from_plain(Drive, header["drive"], "drive"),
            scenario=from_plain(Scenario, header["scenario"], "scenario"),
            image_digest=str(header["image_digest"]),
            lines=(lambda pc: lines.get(pc, "")) if lines else None,
            store=bytes.fromhex(header["store"]),
        )
        written = str(header["digest"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordingError(f"{path}: its header is damaged ({error!r}); {_AGAIN}") from error
    except RecordingError as error:
        raise RecordingError(f"{path}: {error}") from error
    if recording.digest() != written:
        raise RecordingError(
            f"{path}: its arrays have the digest {recording.digest()}, written was {written}; {_AGAIN}"
        )
    return recording


def _lines(recording: Recording) -> dict[str, str]:
    if recording.lines is None:
        return {}
    counters = np.unique(np.concatenate([recording.edges["pc"], recording.edges["caller"]]))
    found = {str(pc): recording.lines(int(pc)) for pc in counters if pc}
    return {pc: line for pc, line in found.items() if line}


def _read(path: Path) -> tuple[dict[str, Any], NDArray[Any], NDArray[Any]]:
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as archive:
            header = json.loads(archive["header"].tobytes())
            edges, states = archive["edges"], archive["states"]
    except FileNotFoundError as error:
        raise RecordingError(f"{path}: no such file") from error
    except (OSError, EOFError, KeyError, TypeError, ValueError, zipfile.BadZipFile, zlib.error) as error:
        raise RecordingError(f"{path}: not a recording, or damaged ({error}); {_AGAIN}") from error
    if not isinstance(header, dict):
        raise RecordingError(f"{path}: its header is damaged; {_AGAIN}")
    return header, edges, states
