"""Codes to scan on what is printed: flags of a survey, lines of a work sheet."""

from __future__ import annotations

import io


def code(text: str) -> str:
    """A text as a QR code (ISO/IEC 18004), as SVG."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", xmldecl=False, svgns=False, border=2, omitsize=True)
    return out.getvalue().decode("utf-8")
