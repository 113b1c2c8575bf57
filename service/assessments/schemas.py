"""Shapes of a site's results over HTTP."""

from pydantic import BaseModel, ConfigDict, Field


class DayShown(BaseModel):
    """One local day; null is not measured or not known, never nothing."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "date": "2025-06-01",
                    "coverage": 0.998,
                    "delivered_kwh": 8.1,
                    "delivered_low_kwh": 7.2,
                    "delivered_high_kwh": 9.0,
                    "irradiation_kwh_m2": 6.4,
                    "expected_kwh": 8.3,
                    "expected_low_kwh": 7.6,
                    "expected_high_kwh": 9.0,
                    "design_kwh": 4.6,
                    "pump_kwh": 0.21,
                    "peak_collector_c": 84.0,
                }
            ]
        }
    )

    date: str
    coverage: float = Field(description="Share of the day that was logged.")
    delivered_kwh: float | None
    delivered_low_kwh: float | None
    delivered_high_kwh: float | None
    irradiation_kwh_m2: float | None = Field(description="Sun in the collector plane.")
    expected_kwh: float | None
    expected_low_kwh: float | None
    expected_high_kwh: float | None
    design_kwh: float | None
    pump_kwh: float | None
    peak_collector_c: float | None


class AmountShown(BaseModel):
    """A figure in words, and its range; empty where there is none."""

    model_config = ConfigDict(from_attributes=True)

    value: str
    range: str


class RowShown(BaseModel):
    """One kind of saving: in the year and since the start."""

    model_config = ConfigDict(from_attributes=True)

    label: str
    year: AmountShown
    start: AmountShown


class BarShown(BaseModel):
    """One month of the year."""

    model_config = ConfigDict(from_attributes=True)

    label: str
    delivered_kwh: float | None
    healthy_kwh: float | None


class SheetShown(BaseModel):
    """The savings sheet in the words of one language."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "language": "en",
                    "site": "Mill Lane 4",
                    "headline": "In 2025 the sun gave you 981 kWh of hot water and heating.",
                    "year": 2025,
                    "years": [2024, 2025],
                    "rows": [
                        {
                            "label": "Heat from the sun",
                            "year": {"value": "981 kWh", "range": "853 to 1,109"},
                            "start": {"value": "1,960 kWh", "range": "1,700 to 2,220"},
                        }
                    ],
                    "bars": [{"label": "Jan", "delivered_kwh": 18.2, "healthy_kwh": 19.0}],
                    "sentences": ["The year had about as much sun as usual."],
                    "notes": ["Ranges hold the true value in 95 of 100 cases."],
                }
            ]
        }
    )

    language: str
    site: str
    headline: str
    year: int | None = Field(description="The year it is about; null before the first report.")
    years: list[int] = Field(description="The years of which something is known.")
    rows: list[RowShown]
    bars: list[BarShown]
    sentences: list[str]
    notes: list[str]
