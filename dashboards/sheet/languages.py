"""What the sheet says, in each language: a table of sentences, and nothing else to translate.

To add a language, add a `Sentences` to `LANGUAGES`; its code is one that Babel knows.
Braces name what is filled in; every sentence of a field takes the same names in all languages.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentences:
    """All text of the sheet in one language."""

    name: str
    title: str
    headline: str
    headline_unknown: str
    nothing_yet: str
    year_column: str
    year_so_far_column: str
    start_column: str
    heat: str
    fuel: str
    money: str
    co2: str
    range: str
    unknown: str
    no_backup: str
    picture: str
    delivered: str
    healthy: str
    not_measured: str
    weather_more: str
    weather_less: str
    weather_usual: str
    weather_unknown: str
    healthy_same: str
    healthy_more: str
    went_wrong: str
    healthy_money: str
    healthy_unknown: str
    coverage: str
    range_note: str
    heat_note: str
    money_note: str
    co2_note: str
    co2_sources: dict[str, str]
    made_on: str
    pdf: str
    print: str
    other_language: str
    fuels: dict[str, str]


EN = Sentences(
    name="English",
    title="What your solar heating saved",
    headline="In {year} the sun gave you {heat} of hot water and heating.",
    headline_unknown="In {year} the heat from the sun could not be measured.",
    nothing_yet="No data have been read yet. As soon as they are, this page shows what was saved.",
    year_column="{year}",
    year_so_far_column="{year}, until {until}",
    start_column="Since {start}",
    heat="Heat from the sun",
    fuel="{fuel} not needed",
    money="Money saved",
    co2="CO₂ not emitted",
    range="{low} to {high}",
    unknown="not known",
    no_backup="What it saved in fuel and money is not known, because the price of your heating "
    "and its efficiency are not on record. Your installer can add them.",
    picture="Heat from the sun, month by month, in {year}",
    delivered="delivered",
    healthy="what a system in perfect order would have given in this weather",
    not_measured="not measured",
    weather_more="The sun shone {percent} more than usual.",
    weather_less="The sun shone {percent} less than usual.",
    weather_usual="The sun shone about as much as usual.",
    weather_unknown="How sunny the year was, compared with others, is not known.",
    healthy_same="Your system gave about what one in perfect order would have given in this "
    "weather.",
    healthy_more="In perfect order it would have given {heat} in this weather, {more} more.",
    went_wrong="While something was wrong with the system, about {heat} of heat did not arrive.",
    healthy_money=" It would have saved about {money} instead of {saved}.",
    healthy_unknown="What a system in perfect order would have given is not known, because "
    "nothing measured the sun.",
    coverage="{share} of the time was measured. What was not measured is not counted.",
    range_note="Measuring is never exact. The true figure lies between the two given in small "
    "print 95 times in 100.",
    heat_note="Heat that reached your hot water store, measured at the store.",
    money_note="After the cost of running the solar pump, at the prices on record for each day.",
    co2_note="CO₂ factors: {source}.",
    co2_sources={
        "factors of the site file": "as stated in the facts of the plant",
        "SAP 10.2 Table 12, edition of March 2025": "SAP 10.2 Table 12, edition of March 2025",
        "site file and SAP 10.2 Table 12, edition of March 2025": "facts of the plant and SAP 10.2 "
        "Table 12, edition of March 2025",
    },
    made_on="Data until {until}. Made on {today}.",
    pdf="As PDF",
    print="Print",
    other_language="Deutsch",
    fuels={
        "mains_gas": "Gas",
        "lpg": "Liquefied gas",
        "heating_oil": "Heating oil",
        "electricity": "Electricity",
        "heat_pump": "Electricity for the heat pump",
        "wood_pellets": "Wood pellets",
        "other": "Fuel",
    },
)

DE = Sentences(
    name="Deutsch",
    title="Was Ihre Solarwärme gespart hat",
    headline="{year} hat Ihnen die Sonne {heat} Wärme geliefert.",
    headline_unknown="{year} konnte die Wärme von der Sonne nicht gemessen werden.",
    nothing_yet="Es wurden noch keine Daten gelesen. Sobald das geschehen ist, steht hier, was "
    "gespart wurde.",
    year_column="{year}",
    year_so_far_column="{year}, bis {until}",
    start_column="Seit {start}",
    heat="Wärme von der Sonne",
    fuel="{fuel} nicht gebraucht",
    money="Gespartes Geld",
    co2="Vermiedenes CO₂",
    range="{low} bis {high}",
    unknown="nicht bekannt",
    no_backup="Was das an Brennstoff und Geld gespart hat, ist nicht bekannt, weil Preis und "
    "Wirkungsgrad Ihrer Heizung nicht hinterlegt sind. Ihr Installateur kann sie nachtragen.",
    picture="Wärme von der Sonne, Monat für Monat, {year}",
    delivered="geliefert",
    healthy="was eine Anlage in bestem Zustand bei diesem Wetter geliefert hätte",
    not_measured="nicht gemessen",
    weather_more="Die Sonne schien {percent} mehr als üblich.",
    weather_less="Die Sonne schien {percent} weniger als üblich.",
    weather_usual="Die Sonne schien etwa so viel wie üblich.",
    weather_unknown="Wie sonnig das Jahr im Vergleich zu anderen war, ist nicht bekannt.",
    healthy_same="Ihre Anlage hat etwa so viel geliefert wie eine in bestem Zustand bei diesem "
    "Wetter.",
    healthy_more="In bestem Zustand hätte sie bei diesem Wetter {heat} geliefert, {more} mehr.",
    went_wrong="Solange mit der Anlage etwas nicht stimmte, kamen etwa {heat} Wärme nicht an.",
    healthy_money=" Sie hätte etwa {money} statt {saved} gespart.",
    healthy_unknown="Was eine Anlage in bestem Zustand geliefert hätte, ist nicht bekannt, weil "
    "die Sonne nicht gemessen wurde.",
    coverage="{share} der Zeit wurden gemessen. Was nicht gemessen wurde, ist nicht mitgezählt.",
    range_note="Messen ist nie ganz genau. Der wahre Wert liegt in 95 von 100 Fällen zwischen "
    "den beiden klein gedruckten.",
    heat_note="Wärme, die in Ihrem Warmwasserspeicher ankam, am Speicher gemessen.",
    money_note="Nach Abzug des Stroms für die Solarpumpe, zu den hinterlegten Preisen jedes Tages.",
    co2_note="CO₂-Faktoren: {source}.",
    co2_sources={
        "factors of the site file": "wie in den Anlagendaten angegeben",
        "SAP 10.2 Table 12, edition of March 2025": "SAP 10.2, Tabelle 12, Ausgabe März 2025",
        "site file and SAP 10.2 Table 12, edition of March 2025": "Anlagendaten und SAP 10.2, "
        "Tabelle 12, Ausgabe März 2025",
    },
    made_on="Daten bis {until}. Erstellt am {today}.",
    pdf="Als PDF",
    print="Drucken",
    other_language="English",
    fuels={
        "mains_gas": "Gas",
        "lpg": "Flüssiggas",
        "heating_oil": "Heizöl",
        "electricity": "Strom",
        "heat_pump": "Strom für die Wärmepumpe",
        "wood_pellets": "Holzpellets",
        "other": "Brennstoff",
    },
)

LANGUAGES: dict[str, Sentences] = {"en": EN, "de": DE}


def language_for(asked: str | None, *, accepted: str = "") -> str:
    """Choose a language: the one asked for, else the first that a browser accepts, else English."""
    wishes = [asked or "", *(part.split(";")[0] for part in accepted.split(","))]
    codes = (wish.strip().lower()[:2] for wish in wishes)
    return next((code for code in codes if code in LANGUAGES), "en")
