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
_ON = (
    "on true yes run running active ein an ja wahr aktiv marche oui vrai encendido si sí acceso "
    "aan zapnuto"
)
_OFF = (
    "off false no stop stopped idle inactive aus nein falsch inaktiv arrêt arret non faux apagado "
    "spento uit nee vypnuto"
)
WORDS = dict.fromkeys(_ON.split(), True) | dict.fromkeys(_OFF.split(), False)
