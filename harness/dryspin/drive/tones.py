"""The tones of a drive file: `[[tone]]`, one table each, the whole list from the nearest file."""

from collections.abc import Sequence

from dryspin.drive import schema
from dryspin.drive.document import Document
from dryspin.drive.listed import listed_tables
from dryspin.drive.model import Tone
from dryspin.drive.section import Section
from dryspin.units import frequency_hz


def read_tones(sheets: Sequence[Document]) -> tuple[Tone, ...]:
    """All tones of the nearest file that gives any; raises `DriveError`.

    A list is taken whole, as a table is: a tune from two files would be one nobody wrote down.
    """
    tones: list[Tone] = []
    for section in listed_tables(sheets, schema.TONES, "one tone"):
        tone = Tone(**section.read(schema.TONE))
        _refuse_doubles(section, tone, tones)
        _refuse_endless_pulse(section, tone)
        tones.append(tone)
    return tuple(tones)


def _refuse_doubles(section: Section, tone: Tone, others: Sequence[Tone]) -> None:
    """A mark must tell which tone begins, and a report which one it was."""
    for other in others:
        if other.mark == tone.mark:
            raise section.problem(
                "mark", f' = {tone.mark} is that of the tone "{other.name}" already. Choose another.'
            )
        if other.name == tone.name:
            raise section.problem(
                "name", f' = "{tone.name}" is the name of another tone already. Choose another.'
            )


def _refuse_endless_pulse(section: Section, tone: Tone) -> None:
    """Pulses from two winding pairs in turn need room to decay before the next one."""
    highest = max((name for name, _ in tone.notes if name), key=frequency_hz)
    period_us = 1e6 / frequency_hz(highest)
    if tone.pulse_us > 0.5 * period_us:
        raise section.problem(
            "pulse_us",
            f" = {tone.pulse_us:g} us is more than half of the {period_us:.0f} us from pulse to pulse of "
            f"{highest}. Shorten the pulse or choose a lower note.",
        )
