"""Words that stand for a value: missing, on and off (trade words; common practice, no source)."""

MISSING = ("", "-", "--", "---", "n/a", "N/A", "NA", "na", "NaN", "nan", "NAN", "null", "NULL")
MISSING_FOLDED = frozenset(
    word.lower()
    for word in (
        *MISSING,
        "none",
        "unavailable",
        "unknown",
        "n.a.",
        "n.v.",
        "#n/a",
        "#nv",
        "----",
        "...",
    )
)
_ON = "on true yes run running ein an ja wahr marche oui vrai encendido si sí acceso aan aktiv"
_OFF = "off false no stop stopped aus nein falsch arrêt arret non faux apagado spento uit nee"
WORDS = dict.fromkeys(_ON.split(), True) | dict.fromkeys(_OFF.split(), False)
