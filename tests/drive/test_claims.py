"""`claims.toml`: what is declared, changed and suppressed, each name checked."""

from pathlib import Path

import pytest

from dryspin.drive import Claims, Limit, Suppression, load_claims
from dryspin.errors import ClaimsError

KNOWN = ("gates.shoot_through", "gates.dead_time", "arming.rite", "arming.loss")
LIMITS = ("opposing_rpm", "loss_s")


def load(tmp_path: Path, text: str) -> Claims:
    """The claims in a text, against the names above."""
    path = tmp_path / "claims.toml"
    path.write_text(text)
    return load_claims(path, KNOWN, LIMITS)


def test_family_stands_for_all_its_claims(tmp_path):
    """A claim added to a declared family is then held without a change here."""
    assert load(tmp_path, 'declared = ["arming", "gates.dead_time"]').declared == (
        "gates.dead_time",
        "arming.rite",
        "arming.loss",
    )


def test_limits_and_suppressions_carry_their_reason(tmp_path):
    """Who relaxes a claim says why, in the same place."""
    claims = load(
        tmp_path,
        'declared = ["gates"]\n[limits.loss_s]\nvalue = 1\nwhy = "slow radio"\n'
        '[[suppress]]\nclaim = "gates.dead_time"\nwhy = "driver makes it"\n',
    )

    assert claims.limits == {"loss_s": Limit(1.0, "slow radio")}
    assert claims.suppressions == (Suppression("gates.dead_time", "driver makes it"),)


CASES = {
    "unknown family": ('declared = ["gate"]', ":1: declared holds \"gate\", which is no family or claim. "
                       "Did you mean 'gates'?"),
    "unknown claim": ('declared = ["gates.deadtime"]', ":1: declared holds \"gates.deadtime\", which is no "
                                                       "family "
                      "or claim. Did you mean 'gates.dead_time'?"),
    "claim like nothing": ('declared = ["gates.xyz123456"]', ":1: declared holds \"gates.xyz123456\", "
                                                             "which is no "
                           "family or claim. Known names: gates.shoot_through, gates.dead_time."),
    "family like nothing": ('declared = ["zzz"]', ":1: declared holds \"zzz\", which is no family or claim. "
                            "Known names: gates, arming."),
    "declared twice": ('declared = ["gates", "gates.dead_time"]', ":1: declared holds \"gates.dead_time\", "
                                                                  "which is "
                       "declared already. Remove it."),
    "nothing declared": ("declared = []", ":1: declared = []: is an empty list. "
                         "Give the families or single claims (family.claim) the firmware is held to."),
    "no declaration": ('[limits.loss_s]\nvalue = 1\nwhy = "x"', ": declared is missing. "
                       "Give the families or single claims (family.claim) the firmware is held to."),
    "one text": ('declared = "gates"', ':1: declared = "gates": is a text, not a list of texts. '
                 "Give the families or single claims (family.claim) the firmware is held to."),
    "unknown key": ('declared = ["gates"]\nlimit = 3', ":2: limit is not a known key. Known keys: declared."),
    "unknown limit": ('declared = ["gates"]\n[limits.oposing_rpm]\nvalue = 1\nwhy = "x"',
                      ":2: [limits] oposing_rpm is not a known limit. Did you mean 'opposing_rpm'?"),
    "limit without reason": ('declared = ["gates"]\n[limits.loss_s]\nvalue = 1', ":2: [limits.loss_s] why is "
                             "missing. Give the reason the default does not fit this drive."),
    "limit with empty reason": ('declared = ["gates"]\n[limits.loss_s]\nvalue = 1\nwhy = ""',
                                ':4: [limits.loss_s] why = "": is empty. '
                                "Give the reason the default does not fit this drive."),
    "limit that is no table": ('declared = ["gates"]\n[limits]\nloss_s = 3', ":3: limits.loss_s is not a "
                                                                             "table. "
                               "Write [limits.loss_s] on a line of its own and its keys below."),
    "endless limit": ('declared = ["gates"]\n[limits.loss_s]\nvalue = inf\nwhy = "x"',
                      ":3: [limits.loss_s] value = inf: is not a finite number. "
                      "Give the limit, in the unit of the default."),
    "suppress without reason": ('declared = ["gates"]\n[[suppress]]\nclaim = "gates.dead_time"',
                                ":2: [suppress] why is missing. Give the reason it is not reported."),
    "suppress a family": ('declared = ["gates"]\n[[suppress]]\nclaim = "gates"\nwhy = "x"',
                          ':3: [suppress] claim = "gates" is not a known claim. Known claims: '
                          'gates.shoot_through, '
                          "gates.dead_time, arming.rite, arming.loss."),
    "suppress what is not declared": ('declared = ["gates"]\n[[suppress]]\nclaim = "arming.rite"\nwhy = "x"',
                                      ':3: [suppress] claim = "arming.rite" is not declared. '
                                      "Remove the suppression."),
    "suppress twice": ('declared = ["gates"]\n[[suppress]]\nclaim = "gates.dead_time"\nwhy = "x"\n'
                       '[[suppress]]\nclaim = "gates.dead_time"\nwhy = "y"',
                       ':6: [suppress] claim = "gates.dead_time" is suppressed twice. Remove one.'),
    "suppress as a table": ('declared = ["gates"]\n[suppress]\nclaim = "gates.dead_time"\nwhy = "x"',
                            ":2: suppress is not a list of tables. Write [[suppress]] with claim and why."),
    "toml slip": ('declared = ["gates"', ":1: not TOML: Unclosed array; the claims file ends here. Is it "
                                         "cut off?"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_slip_is_named_with_line_and_remedy(case, tmp_path):
    """A claim misspelt and silently not held would be the worst kind of pass."""
    text, message = CASES[case]
    with pytest.raises(ClaimsError) as raised:
        load(tmp_path, text)

    assert str(raised.value) == f"{tmp_path}/claims.toml{message}"


def test_missing_file_is_named(tmp_path):
    """Said by the same reader as for drives, in the words of claims."""
    with pytest.raises(ClaimsError, match=r"claims\.toml: no such file\. Give the path of a claims file\."):
        load_claims(tmp_path / "claims.toml", KNOWN, LIMITS)
