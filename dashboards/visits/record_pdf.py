"""The service record as a PDF (A4), one page unless very much was done."""

from typing import cast

from fpdf import FPDF

from dashboards.sheet.pdf import STATIC
from dashboards.theme import LIGHT
from dashboards.visits.record import RecordView

_MARGIN = 18.0
_INNER = 210.0 - 2 * _MARGIN
_LABEL = 62.0


def record_pdf(view: RecordView) -> bytes:
    """Give the record as a PDF file."""
    pdf = FPDF(format="A4", unit="mm")
    pdf.set_title(f"{view.says.title}: {view.site}")
    pdf.set_lang(view.language)
    pdf.set_margins(_MARGIN, _MARGIN, _MARGIN)
    pdf.set_auto_page_break(auto=True, margin=_MARGIN)
    pdf.add_font("text", "", STATIC / "text-regular.ttf")
    pdf.add_font("text", "B", STATIC / "text-bold.ttf")
    pdf.add_page()
    _text(pdf, view.site, size=11, colour=LIGHT.quiet)
    _text(pdf, view.says.title, size=21, style="B", after=1)
    _text(pdf, view.day or view.says.open_yet, size=12, after=3)
    _head(pdf, view.says.looked_at)
    for part in view.parts:
        said = f"{part.title}: {part.outcome}" if part.outcome else part.title
        _text(pdf, said, size=11, style="B", after=0.5)
        if part.note:
            _text(pdf, part.note, size=10, after=0.5)
        for words, result, _ in part.checks:
            _pair(pdf, result, words, size=9.5)
        pdf.ln(2)
    _head(pdf, view.says.measured)
    if not view.measured:
        _text(pdf, view.says.nothing_measured, size=10)
    for label, value in view.measured:
        _pair(pdf, label, value, size=10.5)
    for title, text in ((view.says.notes, view.notes), (view.says.facts, "; ".join(view.facts))):
        if text:
            _head(pdf, title)
            _text(pdf, text, size=10)
    for text in filter(None, (view.later, view.photos)):
        _text(pdf, text, size=9, colour=LIGHT.quiet, after=0.5)
    _signed(pdf, view)
    return bytes(pdf.output())


def _head(pdf: FPDF, text: str) -> None:
    pdf.ln(2)
    pdf.set_draw_color(LIGHT.line)
    pdf.line(_MARGIN, pdf.get_y(), _MARGIN + _INNER, pdf.get_y())
    pdf.ln(2)
    _text(pdf, text, size=12.5, style="B", after=1)


def _text(
    pdf: FPDF, text: str, *, size: float, style: str = "", colour: str = LIGHT.ink, after: float = 1
) -> None:
    pdf.set_font("text", style, size)
    pdf.set_text_color(colour)
    pdf.multi_cell(_INNER, size * 0.48, text, new_x="LMARGIN", new_y="NEXT", align="L")
    pdf.ln(after)


def _pair(pdf: FPDF, label: str, value: str, *, size: float) -> None:
    """Write a label and, beside it, a value of as many lines as it needs."""
    height = size * 0.48
    pdf.set_font("text", "", size)
    tall = pdf.multi_cell(_INNER - _LABEL, height, value, dry_run=True, output="HEIGHT")
    if pdf.will_page_break(cast(float, tall)):
        pdf.add_page()
    pdf.set_text_color(LIGHT.quiet)
    pdf.multi_cell(_LABEL - 3, height, label, new_x="RIGHT", new_y="TOP", align="L")
    pdf.set_x(_MARGIN + _LABEL)
    pdf.set_text_color(LIGHT.ink)
    pdf.multi_cell(_INNER - _LABEL, height, value, new_x="LMARGIN", new_y="NEXT", align="L")
    pdf.ln(0.8)


def _signed(pdf: FPDF, view: RecordView) -> None:
    if pdf.will_page_break(42):
        pdf.add_page()
    pdf.ln(5)
    _pair(pdf, view.says.done_by, view.name or "–", size=11)
    _pair(pdf, view.says.registration, view.registration or "–", size=11)
    pdf.ln(14)
    pdf.set_draw_color(LIGHT.ink)
    pdf.line(_MARGIN + _LABEL, pdf.get_y(), _MARGIN + _INNER, pdf.get_y())
    pdf.ln(1)
    pdf.set_x(_MARGIN + _LABEL)
    _quiet(pdf, view.says.signature)
    pdf.ln(3)
    _quiet(pdf, view.made_on)


def _quiet(pdf: FPDF, text: str) -> None:
    pdf.set_font("text", "", 8.5)
    pdf.set_text_color(LIGHT.quiet)
    pdf.cell(_INNER - _LABEL, 4.4, text, new_x="LMARGIN", new_y="NEXT")
