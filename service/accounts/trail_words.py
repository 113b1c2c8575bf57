"""The audit trail in plain words, deed by deed: pages and programs do the same things."""

_SAID: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("signed in", ("sign-in",)),
    ("set a password by link", ("password",)),
    ("changed the own password", ("pages.account.change_password",)),
    ("began to set up a second factor", ("pages.account.begin_second_factor",)),
    ("turned the second factor on", ("pages.account.confirm_second_factor",)),
    ("turned the second factor off", ("pages.account.end_second_factor",)),
    ("signed out everywhere", ("pages.account.sign_out_everywhere",)),
    ("had the service ask for a password", ("pages.people.begin_passwords",)),
    ("made an account", ("pages.firm.invite",)),
    ("made a new password link", ("pages.firm.new_link",)),
    ("changed a role", ("pages.firm.set_role",)),
    ("shut somebody out", ("pages.firm.close",)),
    ("made a key of the firm", ("pages.firm.make_key",)),
    ("made a key of the firm useless", ("pages.firm.revoke_key",)),
    ("made a customer's link", ("pages.customers.make",)),
    ("withdrew a customer's link", ("pages.customers.withdraw",)),
    ("added a site", ("sites.add_site", "sites.add_site_by_form", "pages.editing.add")),
    ("changed the facts of a site", ("sites.replace_file", "pages.editing.replace_facts")),
    ("deleted a site", ("sites.delete_site", "pages.editing.delete")),
    ("brought a site back", ("sites.restore_site", "pages.editing.restore")),
    ("made a gateway key", ("sites.make_key", "pages.editing.make_key")),
    ("made a gateway key useless", ("sites.revoke_key", "pages.editing.revoke_key")),
    ("noted a meter reading", ("sites.add_reading", "pages.readings.add")),
    ("handed logs in", ("ingest.post_logs", "pages.editing.hand_in")),
    ("sent rows", ("ingest.push_rows",)),
    ("decided what a log means", ("pages.previews.answer", "ingest.map_endpoints.accept")),
    ("undid a log", ("ingest.version_endpoints.undo", "pages.previews.undo")),
    ("let a log count again", ("ingest.version_endpoints.redo", "pages.previews.redo")),
    ("forgot a log that waited", ("pages.previews.discard",)),
    ("handed weather in", ("weather.post_weather", "pages.weather.hand_in")),
    ("forgot a weather file", ("weather.delete_file", "pages.weather.drop")),
    ("set where weather is fetched", ("weather.set_source", "pages.weather.set_address")),
    ("stopped fetching weather", ("weather.delete_source",)),
    ("took a step about a finding", ("care.take_step", "pages.findings.take_step")),
    ("added somebody who gets mail", ("pages.people.add_recipient",)),
    ("stopped mail to somebody", ("pages.people.remove_recipient",)),
    ("changed what somebody gets by mail", ("pages.recipients.change",)),
    ("took an address up again", ("pages.recipients.resume",)),
    ("changed the own mail", ("pages.recipients.change_own",)),
    ("sent a test mail", ("mail.send_test",)),
    ("noted where a customer gets letters", ("pages.customers.set_contact",)),
    ("sent yearly letters to customers", ("pages.letters.send",)),
    ("sent a digest at once", ("pages.recipients.send_now", "pages.recipients.send_own_now")),
    ("stopped the own mail by its link", ("stopped-mail",)),
)
WORDS = {deed: words for words, deeds in _SAID for deed in deeds}


def deed_words(what: str) -> str:
    """Give the words of a deed; one of an older version stands under its own name."""
    return WORDS.get(what, what)
