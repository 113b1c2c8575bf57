"""The sheet as a PDF of one page (A4), drawn with the same words and shapes as the page."""

from pathlib import Path

from fpdf import FPDF

import dashboards
from dashboards.sheet.picture import HEIGHT, WIDTH, Rect, shapes
from dashboards.sheet.view import SheetView
from dashboards.theme import LIGHT

STATIC = Path(dashboards.__file__).parent / "static"
_MARGIN = 18.0
_INNER = 210.0 - 2 * _MARGIN
_LABEL, _COLUMN = 62.0, 56.0
_PICTURE_MM_PER_UNIT = _INNER / WIDTH


def sheet_pdf(view: SheetView) -> bytes:
    """Give the sheet as a PDF file."""
    pdf = FPDF(format="A4", unit="mm")
    pdf.set_title(f"{view.says.title}: {view.site}")
    pdf.set_lang(view.language)
    pdf.set_margins(_MARGIN, _MARGIN, _MARGIN)
    pdf.set_auto_page_break(auto=False)
    pdf.add_font("text", "", STATIC / "text-regular.ttf")
    pdf.add_font("text", "B", STATIC / "text-bold.ttf")
    pdf.add_page()
    _text(pdf, view.site, size=11, colour=LIGHT.quiet)
    _text(pdf, view.says.title, size=21, style="B", after=3)
    _text(pdf, view.headline, size=13, after=5)
    if view.year is not None:
        _table(pdf, view)
        _picture(pdf, view)
        for said in view.sentences:
            _text(pdf, said, size=11.5, after=2)
        pdf.ln(2)
        for note in (*view.notes, view.made_on):
            _text(pdf, note, size=8.5, colour=LIGHT.quiet, after=1)
    return bytes(pdf.output())


def _drawable(text: str) -> str:
    """Put plain for what the sheet's own font has no sign: browsers borrow one, a PDF cannot."""
    return text.replace("CO₂", "CO2")


def _text(
    pdf: FPDF, text: str, *, size: float, style: str = "", colour: str = LIGHT.ink, after: float = 1
) -> None:
    pdf.set_font("text", style, size)
    pdf.set_text_color(colour)
    pdf.multi_cell(_INNER, size * 0.5, _drawable(text), new_x="LMARGIN", new_y="NEXT", align="L")
    pdf.ln(after)


def _table(pdf: FPDF, view: SheetView) -> None:
    pdf.set_draw_color(LIGHT.line)
    pdf.set_font("text", "", 10)
    pdf.set_text_color(LIGHT.quiet)
    pdf.cell(_LABEL, 6, "")
    pdf.cell(_COLUMN, 6, view.year_column)
    pdf.cell(_COLUMN, 6, view.start_column, new_x="LMARGIN", new_y="NEXT")
    for row in view.rows:
        top = pdf.get_y()
        pdf.line(_MARGIN, top, _MARGIN + _INNER, top)
        pdf.set_xy(_MARGIN, top + 2.2)
        pdf.set_font("text", "", 11)
        pdf.set_text_color(LIGHT.ink)
        pdf.multi_cell(_LABEL - 3, 5, _drawable(row.label), align="L", new_x="RIGHT", new_y="TOP")
        for number, amount in enumerate((row.year, row.start)):
            x = _MARGIN + _LABEL + number * _COLUMN
            pdf.set_xy(x, top + 1.6)
            pdf.set_font("text", "B", 15)
            pdf.set_text_color(LIGHT.ink)
            pdf.cell(_COLUMN, 6.5, amount.value)
            pdf.set_xy(x, top + 8.2)
            pdf.set_font("text", "", 9)
            pdf.set_text_color(LIGHT.quiet)
            pdf.cell(_COLUMN, 4, amount.range)
        pdf.set_xy(_MARGIN, top + 14)
    pdf.ln(4)


def _picture(pdf: FPDF, view: SheetView) -> None:
    drawn = shapes(view.bars)
    _text(pdf, f"{view.picture} [kWh]", size=11, style="B", after=2)
    top, unit = pdf.get_y(), _PICTURE_MM_PER_UNIT

    def box(rect: Rect, *, style: str) -> None:
        pdf.rect(
            _MARGIN + rect.x * unit,
            top + rect.y * unit,
            rect.width * unit,
            rect.height * unit,
            style,
        )

    pdf.set_font("text", "", 8.5)
    pdf.set_text_color(LIGHT.quiet)
    pdf.set_draw_color(LIGHT.line)
    for y, value in drawn.scale:
        pdf.line(_MARGIN + drawn.left * unit, top + y * unit, _MARGIN + _INNER, top + y * unit)
        pdf.set_xy(_MARGIN, top + y * unit - 2)
        pdf.cell((drawn.left - 6) * unit, 4, str(value), align="R")
    for month in drawn.months:
        if month.healthy is not None:
            pdf.set_fill_color(LIGHT.expected_soft)
            box(month.healthy, style="F")
        if month.delivered is not None:
            pdf.set_fill_color(LIGHT.delivered)
            box(month.delivered, style="F")
        pdf.set_xy(_MARGIN + (month.middle - 28) * unit, top + (drawn.base + 5) * unit)
        pdf.cell(56 * unit, 4, month.label, align="C")
    pdf.set_xy(_MARGIN, top + HEIGHT * unit + 1)
    for colour, words in (
        (LIGHT.delivered, view.says.delivered),
        (LIGHT.expected_soft, view.says.healthy),
    ):
        pdf.set_fill_color(colour)
        pdf.rect(pdf.get_x(), pdf.get_y() + 0.7, 3, 3, "F")
        pdf.set_x(pdf.get_x() + 4.5)
        pdf.cell(pdf.get_string_width(words) + 6, 4.4, words)
    pdf.set_xy(_MARGIN, pdf.get_y() + 9)
