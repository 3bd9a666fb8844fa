"""A capture as its file has it: named columns over time, before anybody says what they are."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryspin.recording.timeline import Ints

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Sampled:
    """A value at each of the file's samples; time is that of `Raw`."""

    values: NDArray[np.float32]


@dataclass(frozen=True)
class Changes:
    """A value from each moment on; the first also stands before. Whole numbers, or reals."""

    t_ns: Ints
    values: Floats | Ints


@dataclass(frozen=True)
class Raw:
    """Channels of a file by the place their map names, in the order of the map.

    t_ns       time of each sample, empty where the file has changes only; from the first sample on
    origin_ns  what the file calls the first moment
    sample_ns  time between samples, or the least that two moments of the file lie apart
    end_ns     moment of the last sample
    even       whether the samples are evenly spaced
    """

    channels: tuple[Sampled | Changes, ...]
    t_ns: Floats
    origin_ns: float
    sample_ns: float
    end_ns: float
    even: bool
    rows: int
