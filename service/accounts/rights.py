"""Who may do what: one table from roles to rights.

| right | what it opens |
| --- | --- |
| see | sites, their reports and logs |
| log | handing logs and readings in, deciding what a log means, undoing both |
| care | what people do about findings: plans, visits, records |
| arrange | sites, their facts, weather and keys, who gets mail, what customers see |
| govern | accounts, keys of the firm, the audit trail |
"""

from typing import Literal, get_args

Right = Literal["see", "log", "care", "arrange", "govern"]
Role = Literal["owner", "office", "technician", "reader"]

RIGHTS: dict[str, frozenset[Right]] = {
    "owner": frozenset(get_args(Right)),
    "office": frozenset({"see", "log", "care", "arrange"}),
    "technician": frozenset({"see", "log", "care"}),
    "reader": frozenset({"see"}),
    # A gateway's key, for its own site.
    "gateway": frozenset({"see", "log"}),
}

# What a person can be, and what a key of the firm can be.
PERSON_ROLES: tuple[Role, ...] = ("owner", "office", "technician")
KEY_ROLES: tuple[Role, ...] = ("reader", "technician", "office")

ROLE_WORDS: dict[str, str] = {
    "owner": "everything, accounts and keys included",
    "office": "sites, visits, mail and customers; no accounts",
    "technician": "logs, findings and visits; no changes to sites",
    "reader": "looking only",
}
