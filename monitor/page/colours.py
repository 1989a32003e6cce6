"""Colours of warmth: even steps in OKLab from cold over like-its-cohort to hot, on the dark.

A tile also carries its number, its shape and a word, so that no one has to see colour.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

STEPS = 5
#: Excess at which the scale is full [K]; most bags lie within a tenth of it.
FULL_K = 3.0
_NEUTRAL_L, _END_L, _END_CHROMA = 0.40, 0.80, 0.14
_COLD_HUE, _HOT_HUE = 240.0, 62.0
_INK, _PAPER = (255, 255, 255), (20, 16, 12)

Rgb = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Tone:
    """One step of the scale: its ground and the ink that reads best on it."""

    step: int
    ground: Rgb
    ink: Rgb


def step_of(excess_k: float) -> int:
    """The step for an excess over the cohort [K], −5 to 5."""
    return round(max(-1.0, min(1.0, excess_k / FULL_K)) * STEPS)


def tone(step: int) -> Tone:
    """Ground and ink of a step: lightness and chroma grow evenly towards both ends."""
    share = abs(step) / STEPS
    hue = math.radians(_HOT_HUE if step > 0 else _COLD_HUE)
    chroma = _END_CHROMA * share
    lightness = _NEUTRAL_L + (_END_L - _NEUTRAL_L) * share
    ground = oklab_to_rgb(lightness, chroma * math.cos(hue), chroma * math.sin(hue))
    ink = max((_INK, _PAPER), key=lambda one: contrast(one, ground))
    return Tone(step, ground, ink)


def stylesheet() -> str:
    """The scale as CSS classes `w-5` … `w5` for grounds with their ink."""
    lines = []
    for step in range(-STEPS, STEPS + 1):
        one = tone(step)
        lines.append(f".w{step}{{--ground:{hexed(one.ground)};--ink:{hexed(one.ink)}}}")
    return "\n".join(lines) + "\n"


def hexed(colour: Rgb) -> str:
    return "#" + "".join(f"{part:02x}" for part in colour)


def oklab_to_rgb(lightness: float, a: float, b: float) -> Rgb:
    """OKLab to sRGB, cut off where out of gamut (Ottosson 2020, "A perceptual color space")."""
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    linear = (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )
    red, green, blue = (round(255 * _encoded(max(0.0, min(1.0, part)))) for part in linear)
    return red, green, blue


def _encoded(linear: float) -> float:
    """The sRGB transfer curve (IEC 61966-2-1)."""
    return 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055


def contrast(one: Rgb, other: Rgb) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: Rgb) -> float:
    parts = [part / 255 for part in colour]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
