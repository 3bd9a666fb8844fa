"""Pixels as others see them, and how much light two colours differ by.

Colour blindness by the matrices of G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-
based Model for Simulation of Color Vision Deficiency", IEEE Transactions on Visualization and Computer
Graphics 15 (6), 2009, at severity 1.0, applied to linear RGB: numbers from memory; each row keeps white.
Greyscale and contrast by the relative luminance of W3C WCAG 2.1.
"""

from typing import Final

import numpy as np

LUMINANCE: Final = np.array([0.2126, 0.7152, 0.0722])

VISIONS: Final = {
    "all colours": np.eye(3),
    "greyscale": np.tile(LUMINANCE, (3, 1)),
    "protanopia": np.array([
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ]),
    "deuteranopia": np.array([
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ]),
}  # fmt: skip


def seen(pixels: np.ndarray, vision: str) -> np.ndarray:
    """Relative luminance of sRGB pixels (... x 3, 0..255) as that vision has them."""
    share = pixels[..., :3] / 255.0
    linear = np.where(share <= 0.03928, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    light: np.ndarray = np.clip(linear @ VISIONS[vision].T, 0.0, 1.0) @ LUMINANCE
    return light


def contrast(one: np.ndarray | float, other: np.ndarray | float) -> np.ndarray:
    """Contrast ratio of luminances, 1 to 21."""
    return (np.maximum(one, other) + 0.05) / (np.minimum(one, other) + 0.05)


def usual(light: np.ndarray) -> float:
    """The luminance that most pixels have."""
    values, counts = np.unique(np.round(light, 4), return_counts=True)
    return float(values[np.argmax(counts)])


def text_contrast(pixels: np.ndarray, vision: str) -> float:
    """Contrast of the most usual pixels that are not ground: the inside of letters that are large enough.

    Edges of letters are mixed with the ground; what differs from it by less than 1.5 to 1 is such an edge.
    """
    light = seen(pixels, vision)
    against = contrast(light, usual(light))
    letters = np.round(against[against > 1.5], 1)
    values, counts = np.unique(letters, return_counts=True)
    return float(values[np.argmax(counts)]) if len(values) else 1.0
