"""Small Gerber files to build tests on."""

from __future__ import annotations

HEAD = "%FSLAX36Y36*%\n%MOMM*%\n%LPD*%\nG01*\n%ADD10C,0.500*%\n%ADD11R,2.0X1.0*%\nD10*\n"


def gerber(*words: str, head: str = HEAD, end: str = "M02*\n") -> str:
    """A whole file: metric, format 3.6, D10 a 0.5 mm circle selected, D11 a 2 x 1 mm rectangle."""
    return head + "".join(f"{word}\n" for word in words) + end


# Gerber Layer Format Specification, section 2.11.1, "Example: Two Square Boxes" (from memory).
TWO_SQUARES = """G04 Example 1: two square boxes*
%FSLAX26Y26*%
%MOMM*%
%TF.Part,Other,example*%
%LPD*%
%ADD10C,0.010*%
D10*
X0Y0D02*
G01*
X5000000Y0D01*
Y5000000D01*
X0D01*
Y0D01*
X6000000D02*
X11000000D01*
Y5000000D01*
X6000000D01*
Y0D01*
M02*
"""
