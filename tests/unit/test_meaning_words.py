"""Header texts to channels and units. Header texts here are invented, as the trade writes them."""

import numpy as np
import pytest

from analysis.channels import BASE_CHANNELS
from analysis.logs.asking import OpenColumn
from analysis.logs.scaled_heads import scale_of
from analysis.meaning.lexicon import LEXICON
from analysis.meaning.unit_words import find_unit
from analysis.meaning.word_rules import RULES
from analysis.meaning.words import folded, read_header, score_words


def best(head: str) -> str:
    unit = find_unit(head)
    scores = score_words(
        read_header(unit.text), quantity=unit.quantities[0] if len(unit.quantities) == 1 else None
    )
    ranked = sorted(scores.nats.items(), key=lambda one: -one[1])
    if not ranked or scores.none >= ranked[0][1]:
        return ""
    return ranked[0][0] if len(ranked) == 1 or ranked[0][1] > ranked[1][1] else "open"


@pytest.mark.parametrize(
    ("head", "channel"),
    [
        ("Kollektor 1", "collector"),
        ("TKO", "collector"),
        ("Sonde capteur", "collector"),
        ("VL Kollektor", "loop_hot"),
        ("Solar flow [°C]", "loop_hot"),
        ("Solar flow [l/min]", "flow"),
        ("Ritorno pannelli", "loop_cold"),
        ("Rücklauf", "loop_cold"),
        ("Pufferspeicher oben", "store_top"),
        ("TSU", "store_bottom"),
        ("Boiler onder", "store_bottom"),
        ("Acumulador inferior", "store_bottom"),
        ("AUSSENFÜHLER", "ambient"),
        ("T ext", "ambient"),
        ("Irraggiamento inclinato", "irradiance_plane"),
        ("GHI", "irradiance_horizontal"),
        ("Volumenstrom", "flow"),
        ("Caudal", "flow"),
        ("Pompe solaire", "pump"),
        ("Betriebsstunden Solarpumpe", "pump_hours"),
        ("Speicherladepumpe", "secondary_pump"),
        ("Wärmemenge gesamt", "heat_register"),
        ("Puissance solaire", "heat_power"),
        ("Anlagendruck", "pressure"),
        ("Naverwarming", "backup"),
        ("Kaltwasserzulauf", "cold_feed"),
        ("Vitesse du vent", "wind"),
        # Nothing of the solar loop, or nothing at all.
        ("Room temperature", ""),
        ("Kollektor max", ""),
        ("Error code", ""),
        ("T1", ""),
        ("S3", ""),
    ],
)
def test_a_header_names_its_channel_or_none(head, channel):
    assert best(head) == channel


def test_words_with_two_meanings_are_left_open_or_told_by_the_rest():
    plain = score_words(read_header("Boiler"), quantity=None).nats
    assert {"backup", "store_top", "store_bottom"} <= set(plain)
    assert best("Boiler demand") == "backup"
    outlet = score_words(read_header("Collector outlet"), quantity="temperature").nats
    assert abs(outlet["collector"] - outlet["loop_hot"]) < 2.0


def test_an_unknown_word_makes_a_header_less_sure():
    known = score_words(read_header("Kollektor"), quantity=None).nats["collector"]
    strange = score_words(read_header("Kollektor Xyzzy"), quantity=None).nats["collector"]
    assert strange < known - 1.0


@pytest.mark.parametrize(
    ("head", "unit", "text"),
    [
        ("Sp. oben [°C]", "c", "Sp. oben"),
        ("VL Solar (C)", "c", "VL Solar"),
        ("Débit l/h", "l/h", "Débit"),
        ("flow_l_min", "l/min", "flow"),
        ("G [kW/m²]", "kw/m2", "G"),
        ("Pumpe Ein/Aus", "on/off", "Pumpe"),
        ("Volume (m³)", "m3", "Volume"),
        ("Druck [mbar]", "mbar", "Druck"),
        ("Heat BTU/hr", "btu/h", "Heat"),
        ("Heat [kBtu/h]", "kbtu/h", "Heat"),
        ("Druck (kPa abs)", "kpa abs", "Druck"),
        ("Pressure bar abs", "bar abs", "Pressure"),
        ("Druck [bar(a)]", "bar abs", "Druck"),
        ("Heat kJ", "kj", "Heat"),
        ("Flow gal/h", "gal/h", "Flow"),
        ("Collector in", "", "Collector in"),
        ("Tank mid", "", "Tank mid"),
    ],
)
def test_a_unit_is_found_and_taken_off(head, unit, text):
    found = find_unit(head)
    assert (found.unit, found.text) == (unit, text)


@pytest.mark.parametrize(
    ("head", "unit", "unread"),
    [
        ("Energie [therm]", "", "therm"),
        ("Druck (bar diff)", "", "bar diff"),
        ("Flow [l/fortnight]", "", "l/fortnight"),
        ("Power [W/10 s]", "", "W/10 s"),
        ("Flow x10 [l/min]", "l/min", "x10"),
        ("Heat x100 kWh", "kwh", "x100"),
        ("Tank 2 x 1000 l", "l", ""),
        ("T1 [S1]", "", ""),
        ("Kollektor [avg]", "", ""),
        ("Tank (roof)", "", ""),
        ("Pump (relay 1)", "", ""),
    ],
)
def test_what_stands_where_a_unit_does_is_never_taken_for_another(head, unit, unread):
    found = find_unit(head)
    assert (found.unit, found.unread) == (unit, unread)


@pytest.mark.parametrize(
    ("head", "size"),
    [("Tank (1000 l) [°C]", None), ("Volume [10 l]", 10.0), ("Flow [l/min] x10", 0.1)],
)
def test_the_size_of_a_store_in_a_head_is_no_scale(head, size):
    column = OpenColumn(place=0, head=head, unit_head="", values=np.ones(3), words=False)
    found = scale_of(column)
    assert (None if found is None else found.size) == size


def test_a_line_of_units_goes_before_the_header():
    assert find_unit("Flow [l/min]", unit_head="l/h").unit == "l/h"


def test_the_tables_speak_of_known_channels_and_ideas():
    ideas = set().union(*(set(language) for language in LEXICON.values()))
    for rule in RULES:
        assert rule.channel in BASE_CHANNELS
        for group in (*rule.needs, rule.allowed, rule.never):
            assert group <= ideas, (rule.channel, group - ideas)
    assert {rule.channel for rule in RULES} == set(BASE_CHANNELS)
    for language in LEXICON.values():
        for words in language.values():
            for word in words:
                assert folded(word) == word
