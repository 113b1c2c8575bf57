"""Header texts: from letters to ideas of the trade, and from ideas to what a column may hold.

A header is folded (small letters, no accents), parted into words, and each word into parts that
the lexicon knows; words that languages write as one are parted too. Rules then say which ideas
together name a channel. Scores are natural logarithms of odds against a header that says nothing;
they are engineering judgement, and the bench `tests.bench.meaning` shows what they amount to.
"""

import re
import unicodedata
from dataclasses import dataclass, field
from functools import lru_cache

from analysis.channels import BASE_CHANNELS
from analysis.meaning.lexicon import IMPLIED, LEXICON
from analysis.meaning.word_rules import ALWAYS, RULES, Rule

# A known idea that the rule does not provide for; a word that no language knows.
_STRANGE_IDEA, _STRANGE_WORD, _STRANGE_LETTER = -3.0, -1.5, -0.1
_FOREIGN = 4.0
# A figure "of the day" may be counted anew each day: somebody has to say.
_OF_A_DAY = 1.0
_NOT_OURS = frozenset({"foreign", "peak"})
# What no sample is called: something else altogether, or a figure of a whole day.
_NO_SAMPLE = frozenset({"foreign", "day", "peak"})
_INSIDE, _BEHIND = 5, 4
# A word of which more than this is left over is not known.
_MOST_LEFT = 0.45
# Ideas that alone say nothing of a column.
_EMPTY = frozenset({"temp", "sensor", "meter", "state", "count"})
_WORD = re.compile(r"[a-z]+|\d+")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderWords:
    """What a header says.

    Attributes
    ----------
    parts : for each part that the lexicon knows, the ideas it may stand for
    strange : words that no language knows, of four letters and more
    letters : shorter ones
    number : the last number in it, None where there is none
    """

    parts: tuple[frozenset[str], ...]
    strange: tuple[str, ...]
    letters: tuple[str, ...]
    number: int | None

    @property
    def silent(self) -> bool:
        """Whether it says nothing."""
        return not self.strange and all(part <= _EMPTY for part in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class WordScores:
    """How a header speaks for each channel, against one that says nothing [nats].

    Attributes
    ----------
    nats : channel to score; 0 for those not named
    none : score for "none of the channels"
    """

    nats: dict[str, float] = field(default_factory=dict)
    none: float = 0.0


def folded(text: str) -> str:
    """Give small letters without accents; ß becomes ss, joined words in capitals are parted."""
    parted = _CAMEL.sub(" ", text.replace("ß", "ss").replace("Ø", "O"))
    plain = unicodedata.normalize("NFKD", parted)
    return "".join(sign for sign in plain if not unicodedata.combining(sign)).lower()


def read_header(text: str) -> HeaderWords:
    """Read a header text, its unit already taken off.

    Parameters
    ----------
    text : str
        The header.

    Returns
    -------
    HeaderWords
        Ideas, strange words and the number in it.
    """
    parts: list[frozenset[str]] = []
    strange: list[str] = []
    letters: list[str] = []
    number = None
    for word in _WORD.findall(folded(text)):
        if word.isdigit():
            number = int(word[:6])
            continue
        found = _ideas(word)
        parts.extend(found)
        if not found:
            (strange if len(word) > 3 else letters).append(word)
    return HeaderWords(
        parts=tuple(parts), strange=tuple(strange), letters=tuple(letters), number=number
    )


# Logs come daily with the same headers, and many columns of one have none.
@lru_cache(maxsize=1024)
def score_words(header: HeaderWords, *, quantity: str | None, daily: bool = False) -> WordScores:
    """Say how a header speaks for each channel.

    Parameters
    ----------
    header : HeaderWords
        What `read_header` gave.
    quantity : str or None
        Quantity that its unit names; "temperature" makes the English `flow` a pipe.
    daily : bool
        Whether each row stands for a whole day: then figures of days and counters are meant,
        else samples and counters.

    Returns
    -------
    WordScores
        Natural logarithms of odds.
    """
    parts = header.parts
    if quantity == "temperature":
        parts = (*parts, frozenset({"temp"}))
    nats: dict[str, float] = {}
    other = frozenset({"foreign"}) if daily else _NO_SAMPLE
    for rule in RULES:
        known = BASE_CHANNELS[rule.channel]
        if known.daily != daily and not (daily and known.counter):
            continue
        score = _score(rule, parts, other)
        if score is not None:
            nats[rule.channel] = max(score, nats.get(rule.channel, 0.0))
    off = _STRANGE_WORD * len(header.strange) + _STRANGE_LETTER * len(header.letters)
    foreign = any(part <= other for part in parts)
    if foreign:
        off -= _FOREIGN
    nats = {name: score + off for name, score in nats.items() if score + off > 0.0}
    none = _FOREIGN if foreign else 0.0
    if foreign and not any(part <= _NOT_OURS for part in parts):
        none = _OF_A_DAY
    # Words, but none of ours: it may be something else altogether.
    if not nats and not foreign and not header.silent:
        none = 1.5
    return WordScores(nats=nats, none=none)


def _score(rule: Rule, parts: tuple[frozenset[str], ...], other: frozenset[str]) -> float | None:
    if any(not any(part & group for part in parts) for group in rule.needs):
        return None
    allowed = rule.allowed.union(ALWAYS, *rule.needs)
    if any(part & rule.never and not part & allowed for part in parts):
        return None
    strange = sum(1 for part in parts if not part & allowed and not part & other)
    return rule.nats + _STRANGE_IDEA * strange


@lru_cache(maxsize=4096)
def _ideas(word: str) -> tuple[frozenset[str], ...]:
    """Part a word into those of the lexicon, the longest first; none where too much is left."""
    known = _tables()[0]
    if word in known:
        return _with_implied(word, known[word])
    # T in front of a name, as in Tcoll.
    if word[0] == "t" and word[1:] in known and len(word) > 3:
        return _with_implied(word[1:], known[word[1:]])
    pieces, left = _parted(word)
    if left > _MOST_LEFT * len(word):
        return ()
    stems = _tables()[1]
    return tuple(part for piece in pieces for part in _with_implied(piece, stems[piece]))


def _parted(word: str) -> tuple[tuple[str, ...], int]:
    """Cover a word with stems: as few letters left over as can be, then as few pieces."""
    _, stems, longest = _tables()
    # best[n]: letters left over, pieces, the pieces themselves, and whether n is a piece's end.
    best: list[tuple[int, int, tuple[str, ...], bool]] = [(0, 0, (), True)]
    for end in range(1, len(word) + 1):
        left, count, pieces, _ = best[end - 1]
        options = [(left + 1, count, pieces, False)]
        for begin in range(max(0, end - longest), end - _BEHIND + 1):
            piece = word[begin:end]
            left, count, pieces, after = best[begin]
            if piece in stems and (end - begin >= _INSIDE or begin == 0 or after):
                options.append((left, count + 1, (*pieces, piece), True))
        best.append(min(options, key=lambda option: option[:2]))
    return best[-1][2], best[-1][0]


def _with_implied(word: str, ideas: frozenset[str]) -> tuple[frozenset[str], ...]:
    more = IMPLIED.get(word) or IMPLIED.get(f"={word}") or ()
    return (ideas, *(frozenset({idea}) for idea in more))


@lru_cache(maxsize=1)
def _tables() -> tuple[dict[str, frozenset[str]], dict[str, frozenset[str]], int]:
    whole: dict[str, set[str]] = {}
    stems: dict[str, set[str]] = {}
    for language in LEXICON.values():
        for idea, words in language.items():
            for word in words:
                bare = word.lstrip("=").replace("-", "")
                whole.setdefault(bare, set()).add(idea)
                if not word.startswith("=") and len(bare) >= _BEHIND:
                    stems.setdefault(bare, set()).add(idea)
    return (
        {word: frozenset(ideas) for word, ideas in whole.items()},
        {word: frozenset(ideas) for word, ideas in stems.items()},
        max(map(len, stems)),
    )
