"""What each channel usually shows: for every trait its usual value and spread.

A table of data, on the scales of `analysis.meaning.traits` (logarithms are natural; levels of
temperatures in °C), each value with its spread. Read off invented plants of several sizes and
seasons by `python -m tests.bench.meaning usual`, a third wider than these show, and set by hand
where they show nothing or only one simulator's habit: exchangers, second pumps, counters that
elsewhere do not begin at zero, and the levels of store tops, taps, mains and backups. Engineering
judgement, no source. A dash: the channel has no such trait.
"""

_COLUMNS = """
channel                on_level     high         swing        night_share  low_share    zero
collector              19.9±15      54.9±45      3.45±0.64    0.211±0.13   0.0929±0.14  0±0.12
loop_hot               17.6±8       53.5±25      3.1±0.99     0.298±0.12   0.262±0.12   0±0.12
loop_cold              16.7±8       44.2±22      2.64±1.2     0.362±0.16   0.288±0.13   0±0.12
store_bottom           22.3±14      48.8±22      2.62±0.88    0.459±0.19   0.291±0.14   0±0.12
store_middle           34.1±17      50.7±18      2.48±0.48    0.683±0.22   0.392±0.19   0±0.12
store_top              55±12        62±12        2.37±0.6     0.888±0.1    0.686±0.18   0±0.12
ambient                9.1±8        14.4±8.1     1.7±0.42     0.6±0.21     0.341±0.45   0±0.12
cold_feed              11±5         13±5         -0.5±1.2     0.9±0.15     0.85±0.2     0±0.12
hot_tap                35±15        48±10        2.7±1        0.6±0.3      0.45±0.3     0±0.12
exchanger_hot          17.6±9.6     53.5±30      3.1±1.2      0.298±0.14   0.262±0.14   0±0.14
exchanger_cold         16.7±9.6     44.2±26      2.64±1.4     0.362±0.19   0.288±0.16   0±0.14
irradiance_plane       4.82±0.84    6.67±0.5     6.42±0.84    0±0.1        -0.00261±0.1 0.51±0.2
irradiance_horizontal  4.73±1       6.23±0.88    5.81±1.1     0±0.1        -0.00396±0.1 0.5±0.19
wind                   1±0.6        2±0.6        1.31±0.4     0.376±0.13   0.143±0.1    0±0.12
flow                   0.9±1.1      1.2±1.1      1.2±1.1      0±0.1        0±0.1        0.808±0.16
flow_volume            11±2.2       11±2.2       6±1.3        0.8±0.4      0.8±0.4      0±0.3
pump                   4.3±0.6      4.61±0.5     4.31±0.4     0±0.1        0±0.1        0.804±0.16
pressure               0.65±0.5     0.75±0.5     -2±1.5       0.95±0.15    0.9±0.2      0±0.12
heat_register          7.5±2.2      7.5±2.2      1.28±1.4     0.8±0.4      0.8±0.4      0±0.3
heat_power             6.59±1       7.3±1        7.18±1.3     0±0.1        0±0.1        0.804±0.16
backup                 4.61±0.5     4.61±0.5     4.61±0.5     0±0.1        0±0.1        0.9±0.15
secondary_pump         4.3±0.6      4.61±0.5     4.31±0.44    0±0.11       0±0.11       0.804±0.18
pump_hours             6.5±2.5      6.5±2.5      1.3±0.9      0.8±0.4      0.8±0.4      0±0.3

channel                dark_zero    on_by_day    on_spread    sun_like     lag_h
collector              0±0.08       0.497±0.2    -0.0633±0.62 0.519±0.15   2.94±1.2
loop_hot               0±0.08       0.486±0.19   -0.807±1.2   0.66±0.19    2.41±1.4
loop_cold              0±0.08       0.486±0.19   -1.62±1.5    0.431±0.34   3.22±3.7
store_bottom           0±0.08       0.486±0.19   -0.618±0.55  0.0423±0.16  5.06±3
store_middle           0±0.08       0.486±0.19   -0.935±0.74  -0.0996±0.13 7.62±4.9
store_top              0±0.08       0.486±0.19   -2.27±0.45   0.249±0.17   0.811±3.6
ambient                0±0.08       0.508±0.2    -1.13±0.92   0.32±0.21    3.33±1.7
cold_feed              0±0.08       0.486±0.19   -3±1.3       0.0225±0.12  -0.229±8
hot_tap                0±0.08       0.486±0.19   -1±1         0.358±0.2    -0.232±2.8
exchanger_hot          0±0.096      0.486±0.23   -0.807±1.4   0.66±0.23    2.41±1.7
exchanger_cold         0±0.096      0.486±0.23   -1.62±1.8    0.431±0.41   3.22±4.4
irradiance_plane       1±0.08       1±0.06       0.491±0.47   0.759±0.15   0.0223±1.2
irradiance_horizontal  1±0.08       1±0.06       0.306±0.4    0.821±0.12   0.13±1.2
wind                   0±0.08       0.486±0.19   -0.473±0.4   0.022±0.22   3.73±11
flow                   1±0.08       1±0.06       -0.58±1.1    0.626±0.16   -0.0199±1.2
flow_volume            0±0.3        0.45±0.15    -2±2         0±0.3        7.19±1.2
pump                   1±0.08       1±0.06       -2±3         0.628±0.16   -0.0224±1.2
pressure               0±0.08       0.486±0.19   -4±1.6       0.263±0.2    3.08±1.6
heat_register          0±0.3        0.45±0.15    -2±2         0±0.3        7.12±1.2
heat_power             1±0.08       1±0.06       -0.0434±0.76 0.594±0.17   -0.0935±1.2
backup                 0.93±0.12    0.6±0.3      -6.9±3       -0.0371±0.12 0±8
secondary_pump         1±0.088      1±0.066      -2±3         0.628±0.18   -0.0224±1.3
pump_hours             0±0.3        0.45±0.15    -2±2         0±0.3        7.19±1.2

channel                rough        distinct     whole        register     rise_per_day
collector              -5.5±1.6     3.91±0.4     0.101±0.15   0±0.1        -
loop_hot               -5.79±1.3    3.91±0.4     0.0966±0.15  0±0.1        -
loop_cold              -5.96±1.1    3.91±0.4     0.0983±0.15  0±0.1        -
store_bottom           -6.91±1.1    3.91±0.4     0.0946±0.15  0±0.1        -
store_middle           -6.91±1.6    3.91±0.4     0.0969±0.15  0±0.1        -
store_top              -6.91±1.9    3.91±0.4     0.0974±0.15  0±0.1        -
ambient                -4.39±2.9    3.91±0.4     0.0987±0.15  0±0.1        -
cold_feed              -6.91±0.5    2.5±1        0.0926±0.15  0±0.1        -
hot_tap                -5±2         3.91±0.4     0.1±0.15     0±0.1        -
exchanger_hot          -5.79±1.6    3.91±0.48    0.0966±0.18  0±0.12       -
exchanger_cold         -5.96±1.3    3.91±0.48    0.0983±0.18  0±0.12       -
irradiance_plane       -5.81±1      3.91±0.4     0.8±0.3      0±0.1        -
irradiance_horizontal  -5.38±0.94   3.91±0.4     0.8±0.3      0±0.1        -
wind                   -4.6±2.6     3.91±0.4     0.102±0.15   0±0.1        -
flow                   -6.91±0.5    2.94±1.1     0.8±0.25     0±0.1        -
flow_volume            -6.91±0.5    3.91±0.4     1±0.15       1±0.1        6.1±0.92
pump                   -6.91±0.5    2.5±1.6      1±0.15       0±0.1        -
pressure               -6.91±0.5    3±1          0.368±0.35   0±0.1        -
heat_register          -6.91±0.5    3.91±0.4     0.0899±0.15  1±0.1        1.46±1
heat_power             -6.91±0.5    3.91±0.4     0.8±0.3      0±0.1        -
backup                 -6.91±0.5    0.693±2.1    1±0.15       0±0.1        -
secondary_pump         -6.91±0.55   2.5±1.6      1±0.17       0±0.11       -
pump_hours             -6.91±0.5    3.91±0.4     0.5±0.5      1±0.1        1.3±0.9
"""


def _read(text: str) -> dict[str, dict[str, tuple[float, float] | None]]:
    table: dict[str, dict[str, tuple[float, float] | None]] = {}
    for block in text.strip().split("\n\n"):
        first, *rows = (line.split() for line in block.splitlines())
        for channel, *cells in rows:
            for trait, cell in zip(first[1:], cells, strict=True):
                centre, _, spread = cell.partition("±")
                table.setdefault(channel, {})[trait] = (
                    (float(centre), float(spread)) if spread else None
                )
    return table


USUAL = _read(_COLUMNS)
