"""The sheet's content: a year and the whole time in the customer's language and units."""

from dataclasses import dataclass
from datetime import date

from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, format_percent

from analysis.results import Bounded, Report, Savings, YearFigures
from dashboards.format import bound_of, decimals_for
from dashboards.losses import loss_within, total
from dashboards.sheet.languages import LANGUAGES, Sentences

# Within so much of the usual, a year's sun is about as usual; and within so much of a healthy
# plant, beyond the bounds of both, a system gave about what it should (engineering judgement).
_USUAL_FRAC = 0.03
_SAME_FRAC = 0.05
_MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A figure and its range in words; the range is empty where there is none."""

    value: str
    range: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One kind of saving: this year and since the start."""

    label: str
    year: Amount
    start: Amount


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A month of the picture [kWh]; None where not measured or not known."""

    label: str
    delivered_kwh: float | None
    healthy_kwh: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetView:
    """Everything on the sheet, in words of one language."""

    language: str
    other_language: str
    says: Sentences
    site: str
    headline: str
    year: int | None
    years: tuple[int, ...]
    year_column: str
    start_column: str
    rows: tuple[SheetRow, ...]
    picture: str
    bars: tuple[Bar, ...]
    sentences: tuple[str, ...]
    notes: tuple[str, ...]
    made_on: str


def sheet_view(
    report: Report | None,
    *,
    site_name: str,
    fuel: str | None,
    language: str,
    today: date,
    year: int | None = None,
) -> SheetView:
    """Write the sheet.

    Parameters
    ----------
    report : the latest report, without what is private; None before the first
    site_name : as the owner knows it
    fuel : what the backup burns, None where that is not on record
    language : a key of `LANGUAGES`
    today : the day on which the sheet is made
    year : which year it is about; default: the last
    """
    says = LANGUAGES[language]
    writer = _Writer(language, says)
    other = next(code for code in LANGUAGES if code != language)
    years = report.years if report is not None else ()
    shown = next((one for one in years if one.year == year), years[-1] if years else None)
    if report is None or shown is None:
        return SheetView(
            language=language,
            other_language=other,
            says=says,
            site=site_name,
            headline=says.nothing_yet,
            year=None,
            years=(),
            year_column="",
            start_column="",
            rows=(),
            picture="",
            bars=(),
            sentences=(),
            notes=(),
            made_on="",
        )
    heat = writer.heat(shown.delivered)
    headline = says.headline if shown.delivered else says.headline_unknown
    until = date.fromisoformat(shown.last)
    whole = (until.month, until.day) == (12, 31)
    column = says.year_column if whole else says.year_so_far_column
    return SheetView(
        language=language,
        other_language=other,
        says=says,
        site=site_name,
        headline=headline.format(year=shown.year, heat=heat.value),
        year=shown.year,
        years=tuple(one.year for one in years),
        year_column=column.format(year=shown.year, until=writer.day(until)),
        start_column=says.start_column.format(start=writer.day(date.fromisoformat(years[0].first))),
        rows=_rows(writer, shown, report, fuel),
        picture=says.picture.format(year=shown.year),
        bars=_bars(writer, report, shown.year),
        sentences=_sentences(writer, shown, report),
        notes=_notes(writer, shown, report),
        made_on=says.made_on.format(
            until=writer.day(date.fromisoformat(years[-1].last)), today=writer.day(today)
        ),
    )


class _Writer:
    """Numbers, days and amounts as the language writes them."""

    def __init__(self, language: str, says: Sentences) -> None:
        self.locale = {"en": "en_GB"}.get(language, language)
        self.says = says

    def day(self, when: date) -> str:
        return format_date(when, format="long", locale=self.locale)

    def percent(self, frac: float) -> str:
        return str(format_percent(abs(frac), format="#,##0 %", locale=self.locale))

    def amount(self, bound: Bounded | None, unit: str) -> Amount:
        if bound is None:
            return Amount(value=self.says.unknown, range="")
        decimals = decimals_for((bound.high - bound.low) / 2.0)
        value, low, high = (
            self._number(part, decimals) for part in (bound.value, bound.low, bound.high)
        )
        unit = f"\N{NO-BREAK SPACE}{unit}"
        return Amount(
            value=f"{value}{unit}", range=self.says.range.format(low=low, high=f"{high}{unit}")
        )

    def _number(self, value: float, decimals: int) -> str:
        rounded = round(value, decimals) + 0.0
        pattern = "#,##0" + ("." + "0" * decimals if decimals > 0 else "")
        text = format_decimal(rounded, format=pattern, locale=self.locale)
        return str(text).replace("-", _MINUS)

    def heat(self, bound: Bounded | None) -> Amount:
        return self.amount(bound, "kWh")

    def kwh(self, value: float) -> str:
        return f"{self._number(value, 0)}\N{NO-BREAK SPACE}kWh"

    def money(self, value: float, currency: str, *, digits: int = 0) -> str:
        figure = "#,##0.00" if digits else "#,##0"
        text = format_currency(
            round(value, digits) + 0.0,
            currency,
            locale=self.locale,
            currency_digits=False,
            format=f"¤{figure}" if self.locale.startswith("en") else f"{figure}\N{NO-BREAK SPACE}¤",
        )
        return str(text).replace("-", _MINUS)

    def moneys(self, bound: Bounded | None, currency: str | None) -> Amount:
        if bound is None or currency is None:
            return Amount(value=self.says.unknown, range="")
        # In whole pounds a narrow range would be none.
        digits = 2 if round(bound.low) == round(bound.high) else 0
        value, low, high = (
            self.money(part, currency, digits=digits)
            for part in (bound.value, bound.low, bound.high)
        )
        return Amount(value=value, range=self.says.range.format(low=low, high=high))


def _rows(
    writer: _Writer, shown: YearFigures, report: Report, fuel: str | None
) -> tuple[SheetRow, ...]:
    says, totals = writer.says, report.totals
    whole = bound_of(totals.delivered_kwh, totals.delivered_low_kwh, totals.delivered_high_kwh)
    rows = [SheetRow(label=says.heat, year=writer.heat(shown.delivered), start=writer.heat(whole))]
    pair = (shown.savings, report.savings)
    if pair == (None, None):
        return tuple(rows)
    year, start = pair
    burnt = says.fuels.get(fuel or "other", says.fuels["other"])
    rows.append(
        SheetRow(
            label=says.fuel.format(fuel=burnt),
            year=writer.heat(_fuel(year)),
            start=writer.heat(_fuel(start)),
        )
    )
    rows.append(
        SheetRow(
            label=says.money,
            year=writer.moneys(_money(year), year.currency if year else None),
            start=writer.moneys(_money(start), start.currency if start else None),
        )
    )
    rows.append(
        SheetRow(
            label=says.co2,
            year=writer.amount(_co2(year), "kg"),
            start=writer.amount(_co2(start), "kg"),
        )
    )
    return tuple(rows)


def _fuel(saved: Savings | None) -> Bounded | None:
    return bound_of(saved.fuel_kwh, saved.fuel_low_kwh, saved.fuel_high_kwh) if saved else None


def _money(saved: Savings | None) -> Bounded | None:
    return bound_of(saved.money_net, saved.money_net_low, saved.money_net_high) if saved else None


def _co2(saved: Savings | None) -> Bounded | None:
    return bound_of(saved.co2_kg, saved.co2_low_kg, saved.co2_high_kg) if saved else None


def _bars(writer: _Writer, report: Report, year: int) -> tuple[Bar, ...]:
    """Give twelve months; those outside the log are empty."""
    known = {month.month: month for month in report.months}
    bars = []
    for number in range(1, 13):
        month = known.get(f"{year:04}-{number:02}")
        label = format_date(date(year, number, 1), format="LLL", locale=writer.locale)
        bars.append(
            Bar(
                label=label.rstrip("."),
                delivered_kwh=month.delivered_kwh if month else None,
                healthy_kwh=month.expected_kwh if month else None,
            )
        )
    return tuple(bars)


def _sentences(writer: _Writer, shown: YearFigures, report: Report) -> tuple[str, ...]:
    return tuple(
        said
        for said in (_weather(writer, report), _healthy(writer, shown, report))
        if said is not None
    )


def _weather(writer: _Writer, report: Report) -> str:
    """Say how sunny the latest twelve months were, against a typical year."""
    says = writer.says
    ratio = report.design.sun_ratio if report.design else None
    if ratio is None:
        return says.weather_unknown
    if abs(ratio - 1.0) <= _USUAL_FRAC:
        return says.weather_usual
    text = says.weather_more if ratio > 1.0 else says.weather_less
    return text.format(percent=writer.percent(ratio - 1.0))


def _healthy(writer: _Writer, shown: YearFigures, report: Report) -> str | None:
    """Say what a system in perfect order would have done; a fault that was found goes first."""
    says = writer.says
    if shown.delivered is None:
        return None
    lost = _lost(shown, report)
    if lost is not None and lost.low > 0.0 and lost.value >= _SAME_FRAC * shown.delivered.value:
        return says.went_wrong.format(heat=writer.kwh(lost.value))
    if shown.healthy is None:
        return says.healthy_unknown
    more = shown.healthy.value - shown.delivered.value
    if more <= _SAME_FRAC * shown.healthy.value or shown.healthy.low <= shown.delivered.high:
        return says.healthy_same
    text = says.healthy_more.format(heat=writer.kwh(shown.healthy.value), more=writer.kwh(more))
    saved = shown.savings
    if saved and saved.currency and saved.money_net is not None and shown.healthy_money_net:
        text += says.healthy_money.format(
            money=writer.money(shown.healthy_money_net, saved.currency),
            saved=writer.money(saved.money_net, saved.currency),
        )
    return text


def _lost(shown: YearFigures, report: Report) -> Bounded | None:
    """Give the heat that findings cost in this year."""
    first, last = date.fromisoformat(shown.first), date.fromisoformat(shown.last)
    return total(loss_within(report, one, first=first, last=last) for one in report.findings)


def _notes(writer: _Writer, shown: YearFigures, report: Report) -> tuple[str, ...]:
    says = writer.says
    notes = [says.coverage.format(share=writer.percent(shown.coverage)), says.range_note]
    notes.append(says.heat_note)
    if report.savings is None:
        notes.append(says.no_backup)
        return tuple(notes)
    if report.savings.money_net is not None:
        notes.append(says.money_note)
    if report.savings.co2_source:
        source = report.savings.co2_source
        notes.append(says.co2_note.format(source=says.co2_sources.get(source, source)))
    return tuple(notes)
