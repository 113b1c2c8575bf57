"""What can be taken along, and as which file; nothing heavy, the command line reads it first."""

from collections.abc import Mapping
from typing import Literal

What = Literal["days", "hours", "readings", "findings", "savings"]
Form = Literal["csv", "xlsx", "parquet"]

WHAT_WORDS: Mapping[What, str] = {
    "days": "each day's heat, sun and hottest collector",
    "hours": "hourly means of what was logged",
    "readings": "every reading, as a tidy log",
    "findings": "what was found, what it cost, what was done",
    "savings": "what each year saved",
}
