"""Build results by content: what went in decides the folder, so nothing is ever out of date."""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

from dryspin.errors import BuildError


def cache_root() -> Path:
    """`$DRYSPIN_CACHE`, else `dryspin` under `$XDG_CACHE_HOME` or `~/.cache`."""
    if named := os.environ.get("DRYSPIN_CACHE"):
        return Path(named)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "dryspin"


def digest_of(parts: Iterable[str | bytes]) -> str:
    """Hash over parts and their lengths."""
    mix = hashlib.sha256()
    for part in parts:
        raw = part.encode() if isinstance(part, str) else part
        mix.update(len(raw).to_bytes(8, "little"))
        mix.update(raw)
    return mix.hexdigest()[:32]


def cached(kind: str, digest: str, make: Callable[[Path], None]) -> Path:
    """The folder of `digest`, made by `make(folder)` if it is not there yet.

    Made in a folder of its own and moved into place whole, so that an interrupted or parallel
    build leaves nothing half-made.
    """
    final = cache_root() / kind / digest
    if final.is_dir():
        return final
    try:
        final.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f"{digest}-", dir=final.parent))
    except OSError as problem:
        raise BuildError(
            f"{final.parent}: cannot write the build cache ({problem.strerror}); "
            "make it writable or name another folder in DRYSPIN_CACHE"
        ) from None
    try:
        make(work)
        try:
            work.rename(final)
        except OSError:
            if not final.is_dir():
                raise
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return final
