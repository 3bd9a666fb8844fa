"""A finding as a check would keep it."""

from pathlib import Path

from dryspin.findings import Finding, Outcome
from dryspin.scenario import Fault, Scenario

SCENARIO = Scenario(
    seed=7,
    end_s=1.25,
    rest_deg=210.0,
    frame_ms=20.0,
    throttle_us=((0.0, 1500.0), (0.4, 1900.0), (1.22, 1100.0)),
    supply_v=((0.0, 12.1),),
    parts={"r_phase": 1.05},
    faults=(Fault("reset", 1.2314),),
)

OUTCOME = Outcome(
    claim="reversal.opposing_drive",
    status="broken",
    margin=-6.8,
    moment_s=1.2314,
    limit=400.0,
    seen=3120.0,
    unit="rpm",
    text="the legs drive reverse while the rotor turns forward at 3 120 rpm: 61.4 A in phase V",
    source_line="reversing.c:88",
)

HASHES = {"firmware": "f0", "drive": "d0", "claims": "c0", "build": "b0"}


def finding(folder: Path, **changes) -> Finding:
    """A finding of the firmware in folder/firmware."""
    values = {
        "expected": "broken",
        "outcome": OUTCOME,
        "scenario": SCENARIO,
        "firmware": folder / "firmware",
        "drive": folder / "firmware" / "drive.toml",
        "hashes": HASHES,
        "digest": "0123",
        "search_seed": 5,
    }
    return Finding(**{**values, **changes})
