"""What is taken for a mail address."""

import re

# What browsers take for one (WHATWG HTML, "valid e-mail address"); no other signs, because not
# every mail server takes them.
_LABEL = r"[a-zA-Z0-9](?:[a-zA-Z0-9-]{0,61}[a-zA-Z0-9])?"
_ADDRESS = re.compile(rf"[a-zA-Z0-9.!#$%&'*+/=?^_`{{|}}~-]+@{_LABEL}(?:\.{_LABEL})*")
LONGEST = 254


def is_address(text: str) -> bool:
    """Tell whether a text is a mail address."""
    return len(text) <= LONGEST and _ADDRESS.fullmatch(text) is not None
