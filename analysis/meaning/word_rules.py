"""Which ideas together name a channel: a table of data.

`needs` are groups of which each must be met by some part of the header; `allowed` may stand there
as well, `never` must not. Odds in natural logarithms, engineering judgement.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One way to name a channel; ideas as in `analysis.meaning.lexicon`."""

    channel: str
    needs: tuple[frozenset[str], ...]
    nats: float
    allowed: frozenset[str] = frozenset()
    never: frozenset[str] = frozenset()


# May stand in any header without saying anything against a channel.
ALWAYS = frozenset({"sensor", "solar", "meter", "plant"})

_LOOP = "solar primary circuit collector"
_NOT_PIPE = (
    "secondary store pump rate count power energy radiation pressure hours exchanger tap dhw"
)
_NOT_TEMPERATURE = "pump rate count power energy radiation pressure hours speed volume"


def _rule(channel: str, needs: str, nats: float, allowed: str = "", never: str = "") -> Rule:
    return Rule(
        channel=channel,
        needs=tuple(frozenset(group.split("/")) for group in needs.split()),
        nats=nats,
        allowed=frozenset(allowed.split()),
        never=frozenset(never.split()),
    )


def _store(name: str, place: str) -> tuple[Rule, ...]:
    channel = f"store_{name}"
    return (
        _rule(
            channel,
            f"store/boiler {place}",
            8.0,
            "temp hot water dhw in",
            _NOT_TEMPERATURE + " backup demand",
        ),
        _rule(channel, f"store {place} temp", 8.0, "hot water dhw boiler", _NOT_TEMPERATURE),
        _rule(channel, "store", 2.5, "temp boiler hot water dhw", _NOT_TEMPERATURE),
        _rule(channel, "boiler", 1.5, "temp", _NOT_TEMPERATURE),
        _rule(channel, place, 2.5, "temp", _NOT_TEMPERATURE),
    )


RULES: tuple[Rule, ...] = (
    _rule("collector", "collector/roof", 7.0, "temp roof",
          _NOT_TEMPERATURE + " plane supply return in pipe secondary store"),
    _rule("collector", "collector/roof out", 3.5, "temp roof", _NOT_TEMPERATURE + " plane"),
    _rule("loop_hot", "solar/primary/circuit/collector supply", 7.0, f"temp pipe hot {_LOOP}",
          _NOT_PIPE),
    _rule("loop_hot", "solar/primary/circuit/collector flow temp", 7.0, f"pipe hot {_LOOP}",
          _NOT_PIPE),
    _rule("loop_hot", "solar/primary/circuit hot", 7.0, f"temp pipe supply {_LOOP}",
          _NOT_PIPE + " water"),
    _rule("loop_hot", "pipe hot", 5.0, "temp collector", _NOT_PIPE + " water"),
    _rule("loop_hot", "supply", 4.0, "temp hot pipe", _NOT_PIPE),
    _rule("loop_hot", "flow temp", 4.0, "pipe hot", _NOT_PIPE),
    _rule("loop_hot", "collector/roof out", 4.5, f"temp {_LOOP}", _NOT_PIPE),
    _rule("loop_cold", "solar/primary/circuit/collector return", 7.0, f"temp pipe cold {_LOOP}",
          _NOT_PIPE),
    _rule("loop_cold", "solar/primary/circuit cold", 7.0, f"temp pipe return {_LOOP}",
          _NOT_PIPE + " water mains"),
    _rule("loop_cold", "pipe cold", 5.0, "temp collector", _NOT_PIPE + " water mains"),
    _rule("loop_cold", "return", 5.0, "temp cold pipe", _NOT_PIPE),
    _rule("loop_cold", "collector/roof in", 6.5, f"temp {_LOOP}", _NOT_PIPE),
    *_store("bottom", "bottom"),
    *_store("middle", "middle"),
    *_store("top", "top"),
    _rule("ambient", "outside", 7.0, "air temp", "radiation wind foreign secondary return supply"),
    _rule("ambient", "air", 3.5, "temp", "radiation wind"),
    _rule("irradiance_plane", "radiation plane/collector/roof", 8.0, "global in collector roof",
          "horizontal count"),
    _rule("irradiance_plane", "radiation", 3.5, "in", "horizontal count"),
    _rule("irradiance_horizontal", "radiation/global horizontal", 8.0, "global", "plane"),
    _rule("irradiance_horizontal", "radiation global", 4.0, "", "plane collector roof"),
    _rule("irradiance_horizontal", "radiation", 2.5, "", "plane collector roof"),
    _rule("wind", "wind", 8.0, "speed outside rising"),
    _rule("flow", "rate", 7.0, "circuit primary collector volume flow rising", "count hours"),
    _rule("flow", "flow rising/volume", 7.0, "circuit primary collector", "temp count"),
    _rule("flow", "flow", 4.0, "circuit primary collector", "temp count supply"),
    _rule("flow", "volume rising", 5.0, "", "temp count"),
    _rule("flow_volume", "volume count/meter", 7.0, "water rate flow circuit primary in"),
    _rule("flow_volume", "rate/flow count", 5.5, "water circuit primary", "temp"),
    _rule("flow_volume", "water count/meter", 4.0, "circuit primary", "temp"),
    _rule("flow_volume", "volume", 4.0, "circuit primary", "temp"),
    _rule("pump", "pump solar/primary/collector", 8.0, "state speed circuit primary out power",
          "hours count secondary energy charge"),
    _rule("pump", "pump", 6.0, "state speed circuit out power",
          "hours count secondary energy charge"),
    _rule("pump", "speed", 2.0, "", "wind temp"),
    _rule("secondary_pump", "pump secondary/charge", 8.0, "state speed circuit store exchanger",
          "hours count energy"),
    _rule("pump_hours", "hours pump", 8.0, "count solar primary state circuit energy"),
    _rule("pump_hours", "hours", 4.0, "count state", "temp"),
    _rule("pressure", "pressure", 8.0, "circuit primary", "temp"),
    _rule("heat_register", "energy count/meter", 7.5, "heat circuit primary collector"),
    _rule("heat_register", "heat count/meter", 7.0, "energy circuit primary collector"),
    _rule("heat_register", "energy heat", 6.5, "circuit primary collector count"),
    _rule("heat_register", "energy", 5.0, "primary collector circuit", "pump backup"),
    _rule("heat_power", "power heat/solar/collector/primary", 7.0, "primary collector circuit",
          "pump backup radiation"),
    _rule("heat_power", "power", 5.5, "state", "pump backup radiation secondary"),
    _rule("heat_power", "heat out", 4.5, "", "pump backup temp"),
    _rule("backup", "backup", 7.0, "state demand boiler store heat energy water",
          "temp count hours"),
    _rule("backup", "boiler demand/state", 7.0, "backup heat", "temp count hours"),
    _rule("backup", "boiler", 2.5, "", "temp count hours bottom middle top"),
    _rule("cold_feed", "cold water/mains/dhw", 7.0, "mains in temp dhw", _NOT_TEMPERATURE),
    _rule("cold_feed", "mains", 5.5, "water in temp out", _NOT_TEMPERATURE),
    _rule("hot_tap", "hot/dhw water/dhw out/tap/supply", 8.0, "temp hot dhw water tap out",
          _NOT_TEMPERATURE),
    _rule("hot_tap", "tap", 5.5, "temp hot water dhw", _NOT_TEMPERATURE),
    _rule("hot_tap", "hot water", 3.5, "temp dhw", _NOT_TEMPERATURE + " store boiler"),
    _rule("hot_tap", "dhw", 3.0, "temp hot water", _NOT_TEMPERATURE + " store boiler"),
    _rule("exchanger_hot", "secondary supply/hot/out/flow", 7.0,
          "exchanger temp circuit hot supply pipe", _NOT_TEMPERATURE + " primary return in cold"),
    _rule("exchanger_hot", "exchanger hot/out/supply", 3.5, "temp hot secondary",
          _NOT_TEMPERATURE + " primary return in cold"),
    _rule("exchanger_cold", "secondary return/cold/in", 7.0,
          "exchanger temp circuit cold return pipe", _NOT_TEMPERATURE + " primary supply out hot"),
    _rule("exchanger_cold", "exchanger cold/in/return", 3.5, "temp cold secondary",
          _NOT_TEMPERATURE + " primary supply out hot"),
    # Of rows that stand for whole days: there a plain "yield" is that of the day.
    _rule("day_heat", "energy/heat day", 8.0, "heat energy primary collector circuit",
          "pump backup"),
    _rule("day_heat", "energy heat", 6.5, "primary collector circuit", "pump backup"),
    _rule("day_heat", "energy", 6.0, "primary collector circuit", "pump backup"),
    _rule("day_heat", "day", 3.0, "", "pump backup hours temp collector"),
    _rule("day_heat", "heat", 4.0, "primary collector circuit", "pump backup"),
    _rule("day_peak_collector", "collector/roof peak", 8.0, "temp day roof collector",
          _NOT_TEMPERATURE + " plane supply return in store secondary"),
    _rule("day_peak_collector", "collector/roof", 4.0, "temp day roof collector",
          _NOT_TEMPERATURE + " plane supply return in store secondary"),
    _rule("day_pump_hours", "hours pump", 8.0, "day solar primary state circuit", "energy count"),
    _rule("day_pump_hours", "hours", 5.5, "day state", "energy temp count backup"),
)  # fmt: skip
