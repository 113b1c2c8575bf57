"""What the service record says, in each language.

To add a language, add a `RecordWords` to `LANGUAGES`; its code is one that Babel knows.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dashboards.format import sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordWords:
    """All text of the record in one language.

    `fields` names what was measured, where the name differs from the form's; `choices` the values
    of choices by field and value; `kinds` the findings, where not the catalogue's title; `checks`
    the checks by their English sentence. `facts_taken` stands for the list of facts, which is
    kept in English; empty where the list itself can be read.
    """

    name: str
    other_language: str
    title: str
    open_yet: str
    looked_at: str
    routine: str
    outcomes: dict[str, str]
    no_outcome: str
    results: dict[str, str]
    measured: str
    nothing_measured: str
    tubes_changed: str
    notes: str
    facts: str
    later: str
    photos: str
    done_by: str
    registration: str
    signature: str
    made_on: str
    pdf: str
    fields: dict[str, str]
    choices: dict[str, str]
    kinds: dict[str, str]
    facts_taken: str = ""
    checks: Mapping[str, str] = field(default_factory=dict)


def _checks(name: str) -> Mapping[str, str]:
    """Give the checks of a table, each written as a sentence like on a visit's page."""
    text = (Path(__file__).parent / name).read_text(encoding="utf-8")
    return {sentence(english): sentence(other) for english, other in tomllib.loads(text).items()}


EN = RecordWords(
    name="English",
    other_language="Deutsch",
    title="Service record",
    open_yet="This visit is not finished; this is what was noted so far.",
    looked_at="What was looked at",
    routine="Routine visit",
    outcomes={"put_right": "put right", "open": "still to do"},
    no_outcome="not decided",
    results={"fine": "fine", "found": "this was it", "skipped": "not done"},
    measured="Measured and changed",
    nothing_measured="Nothing was measured.",
    tubes_changed="Tubes changed",
    notes="Notes",
    facts="Written into the site's facts",
    later="Added after the visit was finished: {fields}.",
    photos="Photos kept with this record: {count}.",
    done_by="Work done by",
    registration="Registration number",
    signature="Date and signature",
    made_on="Visit {number}. Printed {today}.",
    pdf="As PDF",
    fields={},
    choices={"passed": "tested, good", "failed": "tested, to be renewed", "renewed": "renewed"},
    kinds={},
)

DE = RecordWords(
    name="Deutsch",
    other_language="English",
    title="Wartungsprotokoll",
    open_yet="Dieser Besuch ist noch nicht abgeschlossen; dies ist der Stand bisher.",
    looked_at="Geprüft",
    routine="Regelmäßiger Besuch",
    outcomes={"put_right": "behoben", "open": "noch zu tun"},
    no_outcome="nicht entschieden",
    results={"fine": "in Ordnung", "found": "das war es", "skipped": "nicht geprüft"},
    measured="Gemessen und geändert",
    nothing_measured="Nichts wurde gemessen.",
    tubes_changed="Röhren getauscht",
    notes="Bemerkungen",
    facts="In die Anlagendaten übernommen",
    later="Nach dem Abschluss ergänzt: {fields}.",
    photos="Fotos zu diesem Protokoll: {count}.",
    done_by="Ausgeführt von",
    registration="Registernummer",
    signature="Datum und Unterschrift",
    made_on="Besuch {number}. Gedruckt am {today}.",
    pdf="Als PDF",
    fields={
        "pressure_found_bar": "Druck vorgefunden",
        "pressure_left_bar": "Druck hinterlassen",
        "flow_found_l_min": "Durchfluss vorgefunden",
        "flow_left_l_min": "Durchfluss hinterlassen",
        "vessel_gas_bar": "Vordruck des Gefäßes hinterlassen",
        "ph": "pH-Wert",
        "freezing_c": "Frostschutz bis",
        "fluid": "Wärmeträger",
        "register_kwh": "Wärmezähler",
        "mixing_valve_c": "Mischventil eingestellt auf",
    },
    choices={
        "passed": "geprüft, in Ordnung",
        "failed": "geprüft, zu erneuern",
        "renewed": "erneuert",
    },
    kinds={
        "stagnation": "Stillstand in der Sonne",
        "lost_circulation": "Kreislauf steht",
        "low_flow": "Zu wenig Durchfluss",
        "high_flow": "Zu viel Durchfluss",
        "degraded_tubes": "Röhren geschädigt",
        "reverse_circulation": "Rückzirkulation in der Nacht",
        "night_running": "Pumpe läuft nachts",
        "pump_never_stops": "Pumpe läuft dauernd",
        "short_cycling": "Pumpe taktet",
        "start_delayed": "Pumpe läuft zu spät an",
        "sensor_fault": "Fühler gestört",
        "sensors_swapped": "Fühler vertauscht",
        "flow_reading_wrong": "Durchflussmesser zeigt falsch",
        "pressure_loss": "Druckverlust",
        "vessel_charge_lost": "Ausdehnungsgefäß ohne Vordruck",
        "poor_heat_transfer": "Schlechte Wärmeübertragung",
        "pipe_heat_loss": "Rohre verlieren Wärme",
        "shading": "Verschattung",
        "backup_overlap": "Nachheizung nimmt der Sonne die Arbeit",
        "charge_limit_low": "Ladegrenze zu niedrig",
        "store_overheat": "Speicher zu heiß",
        "hygiene_temperature": "Speicher zu lange zu kühl",
        "fluid_stress": "Wärmeträger stark belastet",
        "clock_wrong": "Uhr des Reglers falsch",
        "silence": "Keine Daten",
        "frost_risk": "Frostgefahr",
        "scald_risk": "Verbrühungsgefahr",
        "yield_shortfall": "Minderertrag ohne bekannte Ursache",
        "not_yet_fitted": "Röhren noch nicht eingesetzt",
        "no_draw": "Kein Warmwasser entnommen",
    },
    facts_taken="Angaben aus diesem Besuch: {count}.",
    checks=_checks("checks_de.toml"),
)

LANGUAGES: dict[str, RecordWords] = {"en": EN, "de": DE}
