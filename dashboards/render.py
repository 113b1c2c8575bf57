"""Templates to text: the one Jinja environment of the pages, and addresses of static files."""

import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from dashboards.explain import EXPLAINED
from dashboards.format import URGENCY_WORDS
from dashboards.glossary import WORDS
from dashboards.theme import css_variables

FOLDER = Path(__file__).parent
STATIC = FOLDER / "static"


def render(template: str, **context: Any) -> str:
    """Render a page."""
    return environment().get_template(template).render(**context)


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Give the environment; everything is escaped unless it was made by a figure."""
    made = Environment(
        loader=FileSystemLoader(FOLDER / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {
        "asset": asset,
        "explanations": EXPLAINED,
        "glossary_words": WORDS,
        "script_json": script_json,
        "theme_css": Markup(css_variables()),  # noqa: S704 - our own palette
        "urgency_words": URGENCY_WORDS,
    }
    return made


def warm() -> None:
    """Compile the pages' templates, so that whoever opens the first page does not wait for it."""
    made = environment()
    for name in made.list_templates(filter_func=lambda name: not name.startswith("mail/")):
        made.get_template(name)


@lru_cache(maxsize=64)
def asset(name: str) -> str:
    """Give the address of a static file; it changes when the file does."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:10]
    return f"/static/{name}?v={digest}"


def static_text(name: str) -> str:
    """Give the text of a static file, for pages that carry everything in themselves."""
    return (STATIC / name).read_text(encoding="utf-8")


def script_json(value: object) -> Markup:
    """Write JSON that can stand inside a script element; nothing in it can end the element."""
    text = value if isinstance(value, str) else json.dumps(value, separators=(",", ":"))
    safe = text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")
    return Markup(safe)  # noqa: S704 - escaped in the line above
