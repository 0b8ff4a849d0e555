"""Colour arithmetic for the tests, each formula with its source.

Linear light of sRGB: IEC 61966-2-1. Relative luminance and contrast: WCAG 2.2. Colour-vision
deficiency: matrices of Machado, Oliveira and Fernandes (2009), severity 1.0, applied to linear
light (entries from memory). Colour difference: CIEDE2000 (CIE 142; Sharma, Wu and Dalal 2005).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MACHADO_2009 = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
_D65 = np.array([0.95047, 1.0, 1.08883])


def linear(color: str) -> Array:
    """Linear light of a colour like “#1F82FD”."""
    channels = np.array([int(color[place : place + 2], 16) for place in (1, 3, 5)]) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def contrast(first: str, second: str) -> float:
    """Contrast ratio of WCAG 2.2."""
    low, high = sorted(float(linear(one) @ [0.2126, 0.7152, 0.0722]) for one in (first, second))
    return (high + 0.05) / (low + 0.05)


def lab(light: Array) -> Array:
    """CIELAB of linear sRGB light, white D65."""
    ratio = np.clip(light, 0, 1) @ _XYZ.T / _D65
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def seen_by(color: str, vision: str) -> Array:
    """CIELAB of a colour as a kind of vision sees it."""
    return lab(MACHADO_2009[vision] @ linear(color))


def ciede2000(first: Array, second: Array) -> float:
    """Colour difference (Sharma, Wu and Dalal 2005, equations 2 to 22)."""
    L1, a1, b1 = first
    L2, a2, b2 = second
    mean_chroma = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    G = 0.5 * (1 - np.sqrt(mean_chroma**7 / (mean_chroma**7 + 25.0**7)))
    a1, a2 = (1 + G) * a1, (1 + G) * a2
    C1, C2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    gap = 0.0 if C1 * C2 == 0 else (h2 - h1 + 180) % 360 - 180
    dH = 2 * np.sqrt(C1 * C2) * np.sin(np.radians(gap) / 2)
    L, C = (L1 + L2) / 2, (C1 + C2) / 2
    if C1 * C2 == 0:
        h = h1 + h2
    elif abs(h1 - h2) <= 180:
        h = (h1 + h2) / 2
    else:
        h = (h1 + h2 + (360 if h1 + h2 < 360 else -360)) / 2
    T = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )
    turn = 30 * np.exp(-(((h - 275) / 25) ** 2))
    R = -np.sin(np.radians(2 * turn)) * 2 * np.sqrt(C**7 / (C**7 + 25.0**7))
    parts = (
        (L2 - L1) / (1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)),
        (C2 - C1) / (1 + 0.045 * C),
        dH / (1 + 0.015 * C * T),
    )
    return float(np.sqrt(sum(part**2 for part in parts) + R * parts[1] * parts[2]))
