"""How long the scenarios of a check waited for the firmware to obey the stick, and how that was known."""

from dryspin.drive import Drive
from dryspin.report.numbers import number
from dryspin.search import CheckResult
from dryspin.search.course import RITE_FRAMES


def arming_line(result: CheckResult, drive: Drive) -> str:
    """`arming: 25 frames at neutral, as rehearsed; demands come after that`."""
    throttle = drive.throttle
    declared = [
        *([f"{number(throttle.arming_frames.high)} frames"] if throttle.arming_frames else []),
        *([f"{number(throttle.arming_s.high)} s"] if throttle.arming_s else []),
    ]
    if declared:
        return f"arming: {' and '.join(declared)} at neutral, as drive.toml declares; demands come after that"
    if not result.rite_frames:
        return (
            "arming: never seen in rehearsal, within 6 s at neutral; demands come after "
            f"{RITE_FRAMES} frames all the same. Give [throttle] arming_frames or arming_s if it takes longer"
        )
    counts = sorted(set(result.rite_frames.values()))
    if len(counts) == 1:
        took = f"{counts[0]} frame{'s' if counts[0] > 1 else ''}"
    else:
        took = ", ".join(f"{n} frames of {ms:g} ms" for ms, n in sorted(result.rite_frames.items()))
    after = "that" if counts[-1] >= RITE_FRAMES else f"{RITE_FRAMES}, for what is too soon may be a slip"
    return f"arming: {took} at neutral, as rehearsed; demands come after {after}"
