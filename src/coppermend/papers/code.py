"""The code on a tag: a QR symbol (ISO/IEC 18004) that names the job, or opens it when a bench address is given."""

from __future__ import annotations

import io
from urllib.parse import quote

import segno

QUIET_MODULES = 4
# Finer modules drown in the grain of a phone's camera and of a thermal print (common practice, no source).
LEAST_MODULE_MM = 0.33


def tag_text(number: str, bench_url: str = "", side_mm: float = 24.0) -> str:
    """What the code says: the job number alone, or the page of the job on the shop's bench.

    The number alone still works when no server is left. It also stands alone where the address would make the
    modules of a code ``side_mm`` wide [mm] too fine to read.

    >>> tag_text("26-0001-K"), tag_text("26-0001-K", "http://bench.local:8000/")
    ('26-0001-K', 'http://bench.local:8000/jobs/26-0001-K')
    >>> tag_text("26-0001-K", "http://bench.local:8000/", side_mm=12)
    '26-0001-K'
    """
    if not bench_url:
        return number
    text = f"{bench_url.rstrip('/')}/jobs/{quote(number)}"
    return text if side_mm / modules(text) >= LEAST_MODULE_MM else number


def modules(text: str) -> int:
    """Modules along one side of the code, its quiet zone counted."""
    return int(_symbol(text).symbol_size(border=QUIET_MODULES)[0])


def qr_svg(text: str) -> bytes:
    """A QR symbol as SVG with the quiet zone of four modules.

    Error level Q at least, and H where that needs no larger symbol: a job number alone then fits the smallest one.
    Source: ISO/IEC 18004, levels Q and H restore about 25 and 30 % of the codewords, quiet zone 4 modules (from memory).
    """
    out = io.BytesIO()
    _symbol(text).save(out, kind="svg", border=QUIET_MODULES, scale=4, xmldecl=True)
    return out.getvalue()


def _symbol(text: str) -> segno.QRCode:
    return segno.make(text, error="q", boost_error=True, micro=False)
