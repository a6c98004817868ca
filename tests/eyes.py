"""How the screens look without colour and to colour-blind people.

Simulation at full severity: Machado, Oliveira, Fernandes 2009, "A Physiologically-based Model for
Simulation of Color Vision Deficiency", IEEE TVCG 15(6), by colorspacious. Grey is the relative
luminance of WCAG 2.2 (IEC 61966-2-1), as a printer or a screen without colour shows it.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import numpy as np
from colorspacious import cspace_convert, deltaE
from numpy.typing import NDArray
from PIL import Image

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # of linear sRGB; WCAG 2.2, "relative luminance"


class Eyes(StrEnum):
    """Whose eyes; the value ends the name of a picture's file."""

    GREY = "grey"
    PROTAN = "protan"
    DEUTAN = "deutan"
    TRITAN = "tritan"


DEFICIENCY = {
    Eyes.PROTAN: "protanomaly",
    Eyes.DEUTAN: "deuteranomaly",
    Eyes.TRITAN: "tritanomaly",
}


def seen(colours: Any, eyes: Eyes) -> NDArray[np.float64]:
    """Colours of sRGB (0 to 1, last axis 3) as these eyes see them, in the same shape."""
    if eyes is Eyes.GREY:
        y = cspace_convert(colours, "sRGB1", "sRGB1-linear") @ LUMINANCE
        back = cspace_convert(np.stack([y, y, y], axis=-1), "sRGB1-linear", "sRGB1")
    else:
        lacking = {"name": "sRGB1+CVD", "cvd_type": DEFICIENCY[eyes], "severity": 100}
        back = cspace_convert(colours, lacking, "sRGB1")
    clipped: NDArray[np.float64] = np.clip(back, 0, 1)
    return clipped


def picture_seen(picture: Image.Image, eyes: Eyes) -> Image.Image:
    """The same picture as these eyes see it."""
    pixels = np.asarray(picture.convert("RGB"), dtype=np.float64) / 255
    return Image.fromarray(np.rint(seen(pixels, eyes) * 255).astype(np.uint8))


def rgb(colour: str) -> NDArray[np.float64]:
    """#abc or #aabbcc as three numbers, 0 to 1."""
    digits = colour.removeprefix("#")
    if len(digits) == 3:
        digits = "".join(digit * 2 for digit in digits)
    return np.array([int(digits[n : n + 2], 16) for n in (0, 2, 4)]) / 255


def contrast(one: Any, other: Any) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, "contrast ratio")."""
    light, dark = sorted(
        (float(cspace_convert(c, "sRGB1", "sRGB1-linear") @ LUMINANCE) for c in (one, other)),
        reverse=True,
    )
    return (light + 0.05) / (dark + 0.05)


def apart(one: Any, other: Any, eyes: Eyes) -> float:
    """How far two colours lie apart to these eyes: the distance in CAM02-UCS (Luo, Cui, Li 2006).

    1 is about the least difference that is noticed side by side; black and white are 100 apart.
    """
    return float(deltaE(seen(one, eyes), seen(other, eyes), input_space="sRGB1"))
