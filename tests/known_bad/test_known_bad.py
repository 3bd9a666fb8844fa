"""Each claim against a firmware that is wrong in one way, and against the same firmware without the wrong."""

import re

import pytest

from dryspin.drive import load_drive
from dryspin.faults import Inspector
from dryspin.findings import BROKEN, HELD
from dryspin.monitors import FAMILIES, claims_of, known_claims
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER
from .index import table, unseen_table
from .variants import CODE, KNOWN_BAD, NAMES, UNSEEN, finding, good, head, replayed, wrong

COVERED = (
    "gates",
    "commutation",
    "startup",
    "synchronism",
    "reversal",
    "arming",
    "calibration",
    "tones",
    "electrical",
    "throttle_map",
    "controller",
)
"""Families of which every claim has a variant, or a line in README.md that says why there is none."""

NOT_FOUND = [
    "counts_a_wrap_too_early",
    "ends_its_dead_band_a_count_early",
    "leaves_interrupts_off",
    "trusts_its_compare_to_lie_ahead",
]
"""Known-bad firmwares that nothing objects to. A name that goes is a gain, one that comes a loss: either is
meant, and said here."""

MOST_NOT_FOUND = 4
NEVER_NOT_FOUND = {"gates", "arming", "reversal"}
"""A defect of these burns the bridge or drives when nobody may be ready for it."""

EVENTS = 8
"""A scenario with more of them no longer shows at a glance what the firmware does wrong."""

EACH = [pytest.param(name, marks=() if k % 4 == 0 else pytest.mark.slow) for k, name in enumerate(NAMES)]
"""One in four in the default suite; all of them take a minute of a core."""

README = (KNOWN_BAD / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", EACH)
def test_the_claim_named_in_the_index_objects_on_the_kept_scenario(name):
    """A monitor that lets pass what it is there for is worse than none: it is believed."""
    assert finding(name).claim == head(name).claim
    assert finding(name).expected == BROKEN
    assert replayed(name).as_expected, replayed(name).outcome


@pytest.mark.parametrize("name", EACH)
def test_the_good_firmware_holds_the_claim_on_the_same_scenario(name):
    """What is objected to is the change, not the scenario; "not exercised" would prove nothing."""
    outcome = good(name).of(head(name).claim)

    assert outcome.status == HELD, outcome


@pytest.mark.parametrize("name", EACH)
def test_no_other_family_objects_unless_the_index_says_why(name):
    """A defect shows under its own name, so that its reader looks for it in the right place."""
    family = head(name).claim.partition(".")[0]
    objections = {outcome.claim for outcome in wrong(name).outcomes if outcome.status == BROKEN}
    others = {claim for claim in objections if claim.partition(".")[0] != family}

    assert others <= set(head(name).also)


@pytest.mark.parametrize("name", EACH)
def test_the_good_firmware_gives_no_family_a_reason_to_object(name):
    """A scenario outside what the thruster can do would blame the wrong one of the two."""
    assert not [outcome for outcome in good(name).outcomes if outcome.status == BROKEN]


@pytest.mark.parametrize("name", EACH)
def test_a_variant_is_the_bow_thruster_with_few_changes(name):
    """The difference to the good firmware must be readable in a minute."""
    firmware = load_drive(KNOWN_BAD / name).firmware

    assert firmware.base == "../../bow_thruster"
    assert 1 <= len(firmware.change) <= 2
    assert finding(name).scenario.events <= EVENTS
    assert set(head(name).also) <= set(known_claims())


def test_every_claim_has_a_variant_or_a_reason_why_there_is_none():
    """A claim that no firmware has ever broken may be one that cannot object."""
    excused = set(re.findall(r"^\| `([a-z_]+\.[a-z_]+)` \| \S", README, re.MULTILINE))
    claims = {f"{family}.{claim.name}" for family in COVERED for claim in claims_of(family)}
    shown = {head(name).claim for name in NAMES}

    assert set(COVERED) <= set(FAMILIES)
    assert claims - shown - excused == set()
    assert not excused & shown
    assert excused <= set(known_claims())


def test_those_that_nothing_objects_to_are_these():
    """Whoever trusts a check must know what it does not see."""
    assert UNSEEN == NOT_FOUND
    assert len(UNSEEN) <= MOST_NOT_FOUND
    assert not {head(name).claim.partition(".")[0] for name in UNSEEN} & NEVER_NOT_FOUND


@pytest.mark.parametrize("name", CODE)
def test_the_checked_build_names_what_no_recording_shows(name):
    """And of the good firmware it says nothing of the kind: what is objected to is the change."""
    run = Scenario(seed=0, end_s=0.7, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0), (0.6, 1900.0)))
    kinds = {}
    for folder in (KNOWN_BAD / name, BOW_THRUSTER):
        inspector = Inspector(load_drive(folder), folder)
        code = inspector.judge(inspector.evidence([run]))
        kinds[folder] = {fault.kind for fault in code.open_faults}

    assert head(name).fault_kind in kinds[KNOWN_BAD / name]
    assert kinds[BOW_THRUSTER] == set()


def test_the_table_of_the_readme_is_made_of_the_index():
    """Who looks for an example of a claim looks there; python -m tests.known_bad.index writes it."""
    assert [line for line in README.splitlines() if line in table()] == table()
    assert [line for line in README.splitlines() if line in unseen_table()] == unseen_table()
    assert len(re.findall(r"^\| \[\w+\]", README, re.MULTILINE)) == len({*NAMES, *CODE, *UNSEEN})


def test_no_drive_file_says_again_which_claim_must_object():
    """It stands in the index; a second place would be wrong one day."""
    for name in (*NAMES, *CODE, *UNSEEN):
        assert "must object" not in (KNOWN_BAD / name / "drive.toml").read_text(encoding="utf-8"), name
