"""Finding a thing by its code, its name or a scan. A fixed number of queries, whatever there is; each reads a part of a table's rows."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from functools import reduce
from operator import and_, or_
from typing import Any

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When
from django.utils.translation import gettext as _

from buildplan.finding.calc import MOST_TEXT, day_of, near, pattern, words
from buildplan.finding.kinds import KINDS, MOST, SEAL_DAYS, Kind, identified
from buildplan.finding.shapes import Found, Group, Hit, To
from buildplan.wanted.queries import LONGEST, unknown
from inventory.catalogue.calc import key
from inventory.common.filters import day
from inventory.models import Identifier
from inventory.scanning import lookups
from inventory.scanning.calc import Kind as Reads
from inventory.scanning.lookups import Known, Meaning

MOST_NAMES = 5000  # names of a kind that near misses are looked for among
_HEAD = 2  # characters that a lot's code must share with a near miss of it
_EXACT, _STARTS, _HOLDS = range(3)
_PLAIN = frozenset({Reads.KNOWN, Reads.OPAQUE})  # nothing but a text: found by its words


def find(text: str, *, today: date) -> Found:
    """What `text` is or names in the workshop in scope.

    At most 23 queries where something is found, 46 where only near misses are.
    """
    text = text.strip(" \t\r\n")  # not str.strip's own list: that one eats separators
    if not text or len(text) > LONGEST:
        return Found(text)
    # A serial number is found by its words.
    known = lookups.look_up(texts=[text], places=[text], bags=[text], loose=(), today=today, serials=False)
    meaning = known.meanings[text]
    groups = tuple(group for group in _groups(text, today) if group.hits)
    scanned = _scanned(text, meaning, known)
    exact = _one([*scanned, *(hit.to for group in groups for hit in group.hits if hit.exact)])
    if exact or groups:
        return Found(text, groups, exact=exact)
    if on := day_of(text, today=today):
        return Found(text, unknown=_("no seal day is on %(day)s") % {"day": day(on)}, day=on)
    problem = unknown(text, meaning.reading)
    return Found(text, near=tuple(_near(text)), unknown=str(problem), teach=problem.members["teach"] is not None)


def _one(found: Iterable[To]) -> To | None:
    """The one page, if there is one."""
    pages = set(found)
    return pages.pop() if len(pages) == 1 else None


def _scanned(text: str, meaning: Meaning, known: Known) -> Iterator[To]:
    """The page of what a scan means, or of a bag or crate by the way to it."""
    if meaning.lot is not None:
        yield To("lot", (meaning.lot.pk,))
    if meaning.bag is not None:
        yield To("count-bag", (meaning.bag.pk,))
    if meaning.place is not None:
        yield To("shelves", (), (("place", meaning.place.path),))
    if meaning.item is not None:
        plain = meaning.reading.kind in _PLAIN
        yield To("code", (), (("code", meaning.item.code if plain else text),))
    if spot := known.spots.get(text):
        yield To("count-bag", (spot.bag.pk,)) if spot.bag else To("crate", (spot.crate.pk,))
    if place := known.places.get(text):
        yield To("shelves", (), (("place", place.path),))


# By words


def _groups(text: str, today: date) -> Iterator[Group]:
    if asked := words(text):
        for kind in KINDS:
            yield _group(kind, _which(kind, asked), text)
    if on := day_of(text, today=today):
        yield _seal_days(on)


def _group(kind: Kind, which: Q, text: str) -> Group:
    """The first of a kind, those that are the very text before those that start with it."""
    rows = kind.rows().filter(which).annotate(rank=_rank(kind, text)).order_by("rank", *kind.order, "pk")[: MOST + 1]
    hits = _hits(kind, rows)
    more = len(hits) > MOST
    return Group(kind.name, hits[:MOST], more, kind.every(text) if kind.every and more else None)


def _hits(kind: Kind, rows: "QuerySet[Any, Any]") -> tuple[Hit, ...]:
    found = list(rows)
    lies = kind.lies([row.pk for row in found]) if kind.lies else {}
    return tuple(_exactly(kind.hit(row, lies), row.rank) for row in found)


def _exactly(hit: Hit, rank: int) -> Hit:
    return replace(hit, exact=rank == _EXACT)


def _which(kind: Kind, asked: Iterable[str]) -> Q:
    """Every word stands somewhere in it."""
    return reduce(and_, (_has(kind, word) for word in asked))


def _has(kind: Kind, word: str) -> Q:
    # The engines' own comparison is quicker, and knows no other case of a letter outside ASCII.
    how = "icontains" if word.isascii() else "iregex"
    value = word if word.isascii() else pattern(word)
    parts = [Q(**{f"{column}__{how}": value}) for column in kind.codes]
    parts += [Q(**{f"{column}__iregex": pattern(word)}) for column in kind.names]
    if kind.name == "item":
        parts.append(identified(key(word)))
    return reduce(or_, parts)


def _rank(kind: Kind, text: str) -> Case:
    whole = f"^{pattern(text)}$"
    same = reduce(or_, (Q(**{f"{column}__iregex": whole}) for column in kind.same))
    starts = reduce(or_, (Q(**{f"{column}__istartswith": text}) for column in kind.same))
    if kind.name == "item":
        same |= _is_code(text)
    return Case(When(same, then=Value(_EXACT)), When(starts, then=Value(_STARTS)), default=Value(_HOLDS), output_field=IntegerField())


def _is_code(text: str) -> Q:
    return Q(pk__in=Identifier.objects.filter(key=key(text)).values("item"))


def _seal_days(on: date) -> Group:
    rows = SEAL_DAYS.rows().filter(on=on).annotate(rank=Value(_EXACT)).order_by(*SEAL_DAYS.order)[: MOST + 1]
    hits = _hits(SEAL_DAYS, rows)
    return Group(SEAL_DAYS.name, hits[:MOST], len(hits) > MOST)


# Near misses


def _near(text: str) -> Iterator[Group]:
    """What is written nearly alike. Two queries a kind at most."""
    if len(text) > MOST_TEXT or not text.isprintable():
        return
    for kind in KINDS:
        ids = near(text, _names(kind, text))
        if ids:
            rows = kind.rows().filter(pk__in=ids).annotate(rank=Value(_HOLDS))
            hits = sorted(_hits(kind, rows), key=lambda hit: ids.index(hit.id))
            yield Group(kind.name, tuple(hits))


def _names(kind: Kind, text: str) -> Iterator[tuple[int, str]]:
    """The names of a kind by their ids. Lots are many: only those whose code starts alike."""
    rows = kind.rows().filter(code__istartswith=text[:_HEAD]) if kind.name == "lot" else kind.rows()
    for pk, *names in rows.order_by("pk").values_list("pk", *kind.near)[:MOST_NAMES]:
        yield from ((pk, name) for name in names if name)
