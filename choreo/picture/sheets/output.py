"""Sheets as files: PDF with its fonts embedded, and PNG. Both from the same SVG, by libraries made for it.

resvg sets SVG exactly; fpdf2 turns the plain part of it that is used here (paths, lines, circles, text) into PDF
drawing, in which text stays text. The same sheets give the same bytes: no dates, no names of machines.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Sequence
from datetime import UTC, datetime

from choreo.picture.sheets.drawing import SheetDrawing
from choreo.picture.sheets.typeface import FAMILY, font_files

_NO_DATE = datetime(2000, 1, 1, tzinfo=UTC)
"""A PDF wants one; the day of the run would make every file another one."""
_MM_PER_INCH = 25.4


def png_of(sheet: SheetDrawing, dots: int) -> bytes:
    """Return a sheet as PNG, `dots` to the inch."""
    import resvg_py  # noqa: PLC0415

    files = [str(file) for file in font_files()]
    return bytes(
        resvg_py.svg_to_bytes(svg_string=sheet.svg(), dpi=float(dots), skip_system_fonts=True, font_files=files)
    )


def pdf_of(sheets: Sequence[SheetDrawing], title: str) -> bytes:
    """Return sheets as one PDF."""
    from fpdf import FPDF  # noqa: PLC0415
    from fpdf.svg import SVGObject  # noqa: PLC0415

    for name in ("fpdf", "fontTools"):  # they tell of every table of a font that they leave out
        logging.getLogger(name).setLevel(logging.ERROR)
    paper = sheets[0].paper
    pdf = FPDF(unit="mm", format=(paper.height / 10, paper.width / 10), orientation="L")
    pdf.set_creation_date(_NO_DATE)
    pdf.set_title(title)
    pdf.set_producer("choreo")
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    for style, file in zip(("", "B"), font_files(), strict=True):
        pdf.add_font(FAMILY, style, str(file))
    for sheet in sheets:
        pdf.add_page()
        SVGObject(sheet.layer(sheet.under, FAMILY)).draw_to_page(pdf, x=0, y=0)
        for picture in sheet.pictures:
            x, y, width, height = (each / 10 for each in (picture.x, picture.y, picture.width, picture.height))
            pdf.image(io.BytesIO(picture.png), x=x, y=y, w=width, h=height)
        SVGObject(sheet.layer(sheet.over, FAMILY)).draw_to_page(pdf, x=0, y=0)
    return bytes(pdf.output())
