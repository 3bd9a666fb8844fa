"""kv and kt of one motor: give either, or both if they agree.

kt kv = 60 / (2 pi) with kt in Nm/A and kv in rpm/V, for any consistent data sheet; published
tables keep it within 0.15 % (scribd 30713692, three windings of a 13 mm motor). Between 1 and 4 %
it can be measuring; beyond, one of the two is a slip, as in a public copy of a 40 mm motor's
table that has kv 231 for 213, 8.4 % off.
"""

import warnings
from typing import Any

from dryspin.drive.section import Section
from dryspin.drive.span import Range
from dryspin.errors import DriveWarning
from dryspin.units import kt_from_kv, kv_from_kt

WARN_ABOVE = 0.01
REFUSE_ABOVE = 0.04


def resolved(motor: dict[str, Any], section: Section) -> dict[str, Any]:
    """The motor's values with kv and its origin given, kt gone.

    Warns (`DriveWarning`) or raises where kv and kt disagree; kv is used where both are given.
    """
    kv: Range | None = motor.pop("kv_rpm_per_v")
    kt: Range | None = motor.pop("kt_nm_per_a")
    kv_from: str | None = motor.pop("kv_from")
    kt_from: str | None = motor.pop("kt_from")
    for value, key, origin in ((kv, "kv_rpm_per_v", kv_from), (kt, "kt_nm_per_a", kt_from)):
        origin_key = f"{key[:2]}_from"
        if value is not None and origin is None:
            raise section.problem(
                origin_key, f' is missing beside {key}. Say how it was obtained, such as "data sheet".'
            )
        if value is None and origin is not None:
            raise section.problem(origin_key, f" is given without {key}. Give {key}, or remove {origin_key}.")
    if kv is not None:
        if kt is not None:
            _compare(kv.nominal, kt.nominal, section)
        return {"kv_rpm_per_v": kv, "kv_from": kv_from, **motor}
    if kt is not None:
        # The larger kt belongs to the smaller kv.
        kv = Range(kv_from_kt(kt.high), kv_from_kt(kt.nominal), kv_from_kt(kt.low))
        return {"kv_rpm_per_v": kv, "kv_from": f"kt, {kt_from}", **motor}
    raise section.problem(
        "kv_rpm_per_v", " is missing. Give kv_rpm_per_v with kv_from, or kt_nm_per_a with kt_from."
    )


def _compare(kv_rpm_per_v: float, kt_nm_per_a: float, section: Section) -> None:
    apart = kt_nm_per_a / kt_from_kv(kv_rpm_per_v) - 1.0
    if abs(apart) <= WARN_ABOVE:
        return
    text = (
        f" = {kt_nm_per_a:g} Nm/A and kv_rpm_per_v = {kv_rpm_per_v:g} rpm/V are {apart:+.1%} apart "
        f"(kt kv = 60 / 2 pi): this kt belongs to kv {kv_from_kt(kt_nm_per_a):.4g}, "
        f"this kv to kt {kt_from_kv(kv_rpm_per_v):.4g}."
    )
    if abs(apart) > REFUSE_ABOVE:
        raise section.problem(
            "kt_nm_per_a", f"{text} More than {REFUSE_ABOVE:.0%} is a slip: correct one, or give only one."
        )
    warning = section.problem("kt_nm_per_a", f"{text} kv is used; give only the one you trust more.")
    # The place that matters is in the file, and the text has it.
    warnings.warn(str(warning), DriveWarning, stacklevel=4)
