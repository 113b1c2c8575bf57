"""The help of the pages: every figure has its own, every word it uses is in the glossary."""

import re
from pathlib import Path

import pytest

import dashboards
from dashboards.explain import EXPLAINED
from dashboards.glossary import PARTS, WORDS, Word
from dashboards.render import render

TEMPLATES = Path(dashboards.__file__).parent / "templates"
MARKUP = {str(one.relative_to(TEMPLATES)): one.read_text() for one in TEMPLATES.glob("**/*.html")}
USED = re.compile(r'explained\("([a-z-]+)"')


def test_every_explanation_is_on_a_page_and_every_one_asked_for_is_written() -> None:
    asked = {key for text in MARKUP.values() for key in USED.findall(text)}
    assert asked == set(EXPLAINED)


@pytest.mark.parametrize("name", [name for name in MARKUP if '{{ plot("' in MARKUP[name]])
def test_a_template_with_a_plot_explains_it(name: str) -> None:
    plots = len(re.findall(r'\{\{ plot\("(?!left)', MARKUP[name]))
    assert len(USED.findall(MARKUP[name])) >= plots


def test_words_of_explanations_are_in_the_glossary() -> None:
    assert {word for one in EXPLAINED.values() for word in one.words} <= set(WORDS)


@pytest.mark.parametrize("word", WORDS.values(), ids=WORDS.keys())
def test_a_word_is_said_in_at_most_two_sentences(word: Word) -> None:
    assert word.says.endswith(".")
    assert len(re.findall(r"[.?!](?: |$)", word.says)) <= 2


def test_the_glossary_page_holds_each_word_once() -> None:
    page = render("glossary.html", parts=PARTS)
    assert 40 <= len(WORDS) <= 60
    assert len(WORDS) == sum(len(part.words) for part in PARTS)
    for slug in WORDS:
        assert page.count(f'<div id="{slug}">') == 1
