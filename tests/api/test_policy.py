"""The headers of every answer, and the pages' sources that must obey them.

That browsers find nothing to complain of is shown in `tests/browser/test_policy_in_a_browser.py`.
"""

import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

import dashboards
from service.policy import policy
from tests.build_service import LOCAL, back_ends

TEMPLATES = Path(dashboards.__file__).parent / "templates"


@pytest.mark.parametrize("path", ["/", "/health", "/static/suntally.css", "/no/such/page"])
def test_every_answer_bears_every_header(tmp_path: Path, path: str) -> None:
    with back_ends(tmp_path) as make, TestClient(make().app(), base_url=LOCAL) as client:
        told = client.get(path, headers={"accept": "text/html"}).headers
    rules = dict(rule.split(" ", 1) for rule in told["content-security-policy"].split("; "))
    assert rules["default-src"] == rules["frame-ancestors"] == rules["base-uri"] == "'none'"
    assert rules["script-src"] == "'self'"
    assert "unsafe" not in told["content-security-policy"]
    assert told["x-content-type-options"] == "nosniff"
    assert told["x-frame-options"] == "DENY"
    assert told["referrer-policy"] == "same-origin"
    assert told["cross-origin-opener-policy"] == "same-origin"
    assert told["cross-origin-resource-policy"] == "same-origin"
    assert "camera=()" in told["permissions-policy"]
    assert "strict-transport-security" not in told


def test_browsers_are_told_to_keep_to_https_where_it_is_used(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make:
        back = make(host="0.0.0.0", base_url="https://sun.example")
        with TestClient(back.app(), base_url="https://sun.example") as client:
            told = client.get("/health").headers["strict-transport-security"]
    assert told == "max-age=31536000"


def test_only_the_styles_of_the_shown_mail_are_allowed() -> None:
    # SHA-256 of "color:red", by `printf color:red | openssl dgst -sha256 -binary | base64`.
    red = "'sha256-8f935d27GvUutRyY9yWScUMiFUk4WTdZURISiYfPOeQ='"
    given = policy('<p style="color:red">a</p><p title="x">b</p>')
    assert f"style-src-attr 'unsafe-hashes' {red}" in given
    assert "unsafe-inline" not in given
    assert "style-src-attr" not in policy()


@pytest.mark.parametrize(
    "path",
    [path for path in TEMPLATES.rglob("*.html") if "mail" not in path.parts],
    ids=lambda path: path.name,
)
def test_no_page_is_styled_or_scripted_in_itself(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r'\sstyle="', text)
    assert not re.search(r'\son[a-z]+="', text)
    assert "javascript:" not in text
    scripts = re.findall(r"<script(?![^>]*(?:src=|application/json))[^>]*>", text)
    # The report as a file of its own carries everything in itself; the service never serves that.
    assert not scripts or path.name == "report.html"
