"""What somebody looks for, as it is compared: words whatever their case and accents, days, and what is written nearly alike. Pure."""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date

from rapidfuzz import fuzz, process, utils

MOST_WORDS = 6  # of one search: more only make it slower
MOST_TEXT = 80  # characters that names and codes are looked through for; what is longer is a scan
NEAR = 5  # near misses of a kind
LIKE = 75  # of 100: below it a near miss is another name
WORD_LIKE = 70  # likewise of a single word

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
_SPOKEN = re.compile(r"(?:[a-z]{3}[a-z]*,? )?(\d{1,2})\.? ([a-z]{3})[a-z]*\.?,?(?: (\d{4}))?")
_MARKS = "[\u0300-\u036f]*"  # accents that stand as characters of their own


def folded(text: str) -> str:
    """`text` without accents, in one case, its blanks single: as two names are compared."""
    split = unicodedata.normalize("NFKD", text)
    bare = "".join(character for character in split if not unicodedata.combining(character))
    return " ".join(bare.casefold().split())


def words(text: str) -> tuple[str, ...]:
    """The words that all must be found; none for what can't be looked for."""
    if "\0" in text or len(text) > MOST_TEXT or not text.isprintable():
        return ()
    return tuple(dict.fromkeys(text.split()))[:MOST_WORDS]


def pattern(text: str) -> str:
    """A regular expression, the same on each engine, that finds `text` whatever its accents and case: `Muller` finds `MÜLLER`."""
    return "".join(map(_class, folded(text)))


def _class(character: str) -> str:
    if not character.isalpha():
        return re.escape(character)
    return f"[{''.join(sorted({character, character.upper()[:1], *_ACCENTED[character]}))}]{_MARKS}"


def _accented() -> Mapping[str, set[str]]:
    """Each plain letter with the letters of Europe's alphabets that are it with an accent."""
    found: dict[str, set[str]] = defaultdict(set)
    for code in range(0xC0, 0x250):
        character = chr(code)
        bare = folded(character)
        if character.isalpha() and len(bare) == 1 and bare != character:
            found[bare].add(character)
    return found


_ACCENTED = _accented()


def day_of(text: str, *, today: date) -> date | None:
    """The day that a text names: `2027-03-06`, `6 March 2027`, `Sat 6 Mar`. Without a year the nearest such day to `today`."""
    said = folded(text)
    if _ISO.fullmatch(said):
        return _day(*map(int, said.split("-")))
    if not (found := _SPOKEN.fullmatch(said)) or found[2] not in _MONTHS:
        return None
    number, month = int(found[1]), _MONTHS.index(found[2]) + 1
    years = [int(found[3])] if found[3] else [today.year - 1, today.year, today.year + 1]
    days = [day for year in years if (day := _day(year, month, number))]
    return min(days, key=lambda day: abs(day - today), default=None)


def _day(year: int, month: int, number: int) -> date | None:
    try:
        return date(year, month, number)
    except ValueError:
        return None


def near(text: str, names: Iterable[tuple[int, str]], *, limit: int = NEAR) -> list[int]:
    """The ids of those that are written nearly as `text`, the nearest first. An id may come with several names.

    Either the whole is alike, as two codes are, or each word is like one of the name's, in any order.
    """
    rows = [(pk, _plain(name)) for pk, name in names]
    asked = _plain(text)
    alike = _alike(asked.split(), {word for _, name in rows for word in name.split()})
    scored = [(_score(asked, name, alike), pk) for pk, name in rows]
    best = sorted((one for one in scored if one[0] >= LIKE), key=lambda one: -one[0])
    return list(dict.fromkeys(pk for _, pk in best))[:limit]


def _plain(text: str) -> str:
    """Commas and hyphens are no part of a word."""
    return " ".join(utils.default_process(folded(text)).split())


def _alike(asked: Iterable[str], vocabulary: Collection[str]) -> list[dict[str, float]]:
    """For each word that is asked for, how like it those words are that are like it at all."""
    return [
        {found: score for found, score, _ in process.extract(word, vocabulary, scorer=fuzz.ratio, score_cutoff=WORD_LIKE, limit=None)}
        for word in asked
    ]


def _score(asked: str, name: str, alike: Sequence[Mapping[str, float]]) -> float:
    whole = fuzz.ratio(asked.replace(" ", ""), name.replace(" ", ""))
    parts = [max((scores.get(word, 0) for word in name.split()), default=0) for scores in alike]
    return max(whole, sum(parts) / len(parts) if parts and all(parts) else 0)
