"""What a customer can agree to."""

PURPOSES: dict[str, str] = {
    "sharing_link": "A link with which the savings sheet can be opened",
    "letter": "Letters and mails about the plant",
    "remote_reading": "Reading the logger from afar",
}

# What stops by itself when the consent is withdrawn.
STOPS: dict[str, str] = {
    "sharing_link": "The links in use stop at once.",
    "letter": "",
    "remote_reading": "The gateway's keys stop at once; logs can still be brought by hand.",
}
