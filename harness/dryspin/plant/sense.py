"""The sense lines between the terminals and the comparator: filter, pin clamp, offset.

Everything is referred to the terminal, before the divider. The neutral is the mean of the three sense
lines and passes through the same filter, so filtered it is the mean of the filtered lines. The filters
are part of the plant's equations (machine.py); what is left here has no memory.
"""

from __future__ import annotations

from dryspin.plant.parameters import PlantParams
from dryspin.plant.star import Triple


class SenseLines:
    """Three sense lines, their neutral and the comparator's input."""

    def __init__(self, params: PlantParams) -> None:
        self._offset_v, self._divider = params.offset_v, params.divider
        self._clamp_v = params.pin_clamp_v

    def comparator_v(self, lines_v: Triple, leg: int, noise_v: float) -> float:
        """Comparator input (V at the terminal): line of `leg` less neutral, plus offset and noise.

        `lines_v`: terminal voltages, filtered where there is a filter. `noise_v`: at the pin.
        """
        v_u, v_v, v_w = lines_v
        line_v, neutral_v = lines_v[leg], (v_u + v_v + v_w) / 3.0
        if self._clamp_v is not None:
            line_v, neutral_v = min(line_v, self._clamp_v), min(neutral_v, self._clamp_v)
        return line_v - neutral_v + (self._offset_v + noise_v) / self._divider
