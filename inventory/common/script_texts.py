"""What a page's script says, in the reader's language. The script has its texts in English; the page says what they are in another."""

import json
from collections.abc import Callable, Iterable

from django.conf import settings
from django.utils.functional import Promise
from django.utils.translation import get_language, override

Counted = Callable[[int], list[str]]
ONE, OTHER = 1, 2  # a number of each form, by the names that browsers give the forms of English and German


def no_counts(number: int) -> list[str]:
    """For a script that counts nothing."""
    del number
    return []


def script_texts(texts: Iterable[str | Promise], counted: Counted = no_counts) -> str:
    """For `data-texts` of the page, as JSON: each text by its English, and the forms of what is counted by the English of one thing.

    `counted` gives the texts that hold a number, as they are for so many things. In English the scripts need none.
    """
    if get_language() == settings.LANGUAGE_CODE:
        return "{}"
    texts = tuple(texts)
    known: dict[str, object] = dict(zip(in_english(texts), map(str, texts), strict=True))
    forms = zip(counted(ONE), counted(OTHER), strict=True)
    known |= zip(counted_in_english(counted), ({"one": one, "other": other} for one, other in forms), strict=True)
    return json.dumps(known, ensure_ascii=False)


def in_english(texts: Iterable[str | Promise]) -> list[str]:
    """Texts as the script has them."""
    with override(settings.LANGUAGE_CODE):
        return [str(text) for text in texts]


def counted_in_english(counted: Counted, number: int = ONE) -> list[str]:
    """What is counted, as the script has it."""
    with override(settings.LANGUAGE_CODE):
        return counted(number)
