"""Contrast as WCAG 2.2 defines it, https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio and
#dfn-relative-luminance.

The definition's 0.04045 was 0.03928 before May 2021: "no practical effect", it says. Ratios are
never rounded up.
"""

import re

import numpy as np

TEXT, SHAPE = 4.5, 3.0  # criteria 1.4.3, for text of any size here, and 1.4.11


def rgb(ink):
    """The three channels of a colour such as "#1f2328" or "rgba(0,0,0,.87)", 0 to 1, and how much
    it covers."""
    if ink.startswith("#"):
        digits = ink[1:] if len(ink) == 7 else "".join(2 * digit for digit in ink[1:])
        return np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255, 1.0
    *channels, cover = [
        float(part)
        for part in re.findall(r"[\d.]+", ink + (",1" if ink.startswith("rgb(") else ""))
    ]
    return np.array(channels) / 255, cover


def over(ink, ground, cover=1.0):
    """The channels of a colour laid on another one."""
    (channels, own), (below, _) = rgb(ink), rgb(ground)
    return (channels * own * cover + below * (1 - own * cover)) * 255


def as_ink(channels):
    return f"rgba({','.join(f'{channel:.4f}' for channel in channels)},1)"


def luminance(ink):
    channels, _ = rgb(ink)
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(ink, ground):
    """The ratio of a colour to an opaque one behind it."""
    dark, light = sorted((luminance(as_ink(over(ink, ground))), luminance(ground)))
    return (light + 0.05) / (dark + 0.05)
