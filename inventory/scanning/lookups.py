"""What codes, places and bags mean in the workshop in scope: a fixed number of queries for a batch of scans."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from django.db import connection
from django.db.models import DecimalField, Field, Model
from django.db.models.functions import Upper
from django_scopes import get_scope
from rapidfuzz import fuzz, process

from inventory.catalogue import calc as codes
from inventory.catalogue.models import Identifier, Item
from inventory.common.problems import Problem
from inventory.common.rows import batches
from inventory.labels.models import Label
from inventory.pool.models import Thing
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.scanning.calc import Reading, read
from inventory.shelflife.calc import StatedDate
from inventory.stock.models import End, Lot, Place
from inventory.stock.services import place_key

MOST_KEY = 80  # characters of a code that the catalogue can hold
NEAR = 5  # near matches offered
LIKE = 70  # of 100: below it a "near" match is another word
_ITEM_FIELDS = ("01", "02", "240", "241", "1P", "P", "30P", "PNR", "PNO")
_LOT_FIELDS = ("10", "1T", "T", "LOT")
_GTIN_LENGTHS = (13, 12, 8)
_SYMBOLOGY = 3  # characters of a symbology identifier


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a code means: an item, perhaps with what its label says of the lot; or the lot, bag or place that a label of ours is on.

    Or a single thing of the pool, by its serial number: `single`, with its lot. `several` are things that have the same one.
    """

    reading: Reading
    item: Item | None = None
    lot: Lot | None = None
    bag: Bag | None = None
    place: Place | None = None
    lot_code: str = ""
    made: StatedDate | None = None
    expires: StatedDate | None = None
    single: Thing | None = None
    several: tuple[Thing, ...] = ()

    @property
    def thing(self) -> Item | None:
        """The item, be it by its own code or by a lot's label."""
        return self.lot.item if self.lot else self.item

    @property
    def known(self) -> bool:
        """Whether it means anything here."""
        return any(row is not None for row in (self.item, self.lot, self.bag, self.place)) or bool(self.several)

    def of_single(self, thing: Thing) -> "Meaning":
        """The same code, of one of several things."""
        return replace(self, lot=thing.lot, single=thing, several=())


@dataclass(frozen=True, slots=True)
class Spot:
    """Where in a crate: a bag, or none."""

    crate: Crate
    bag: Bag | None

    @property
    def path(self) -> str:
        """As people write it."""
        return f"{self.crate.code}/{self.bag.path}" if self.bag else self.crate.code


@dataclass(slots=True)
class Known:
    """What was looked up for a batch."""

    meanings: dict[str, Meaning] = field(default_factory=dict)  # by the code as sent
    places: dict[str, Place] = field(default_factory=dict)  # by the place as sent
    spots: dict[str, Spot] = field(default_factory=dict)  # by the bag as sent
    listed: dict[int, dict[str, Spot]] = field(default_factory=dict)  # where open crates list an item, by the item's id and the path


class _Codes:
    """The codes that were looked up, as `read` asks for them."""

    def __init__(self, keys: Mapping[str, Item]) -> None:
        self._keys = keys

    def __contains__(self, text: object) -> bool:
        return isinstance(text, str) and codes.key(text) in self._keys


def look_up(  # noqa: PLR0913 - what was sent, by what it is to be
    *,
    texts: Iterable[str],
    places: Iterable[str],
    bags: Iterable[str],
    loose: Iterable[str],
    today: date,
    serials: bool = True,
) -> Known:
    """What these codes, places and bags mean. Eight queries at most, of which those that nothing asks for are left out.

    `loose` are the codes that are counted without saying in which bag. `serials`: what is nothing else may be a thing's serial number.
    """
    texts, places, bags = set(texts), set(places), set(bags)
    items = _items({key for text in texts for key in _own_keys(text)})
    readings = {text: read(text, today=today, known=_Codes(items)) for text in texts}
    named = {key for reading in readings.values() for key in _named_keys(reading)}
    items |= _items(named - items.keys())
    refs = {text: read(text, today=today) for text in places | bags if _may_be_token(text)}
    labels = _labels({reading.fields["token"] for reading in (*readings.values(), *refs.values()) if reading.kind == "token"})
    found = Known({text: _meaning(reading, items, labels) for text, reading in readings.items()})
    labelled = {text: labels[reading.fields["token"]] for text, reading in refs.items() if reading.fields.get("token") in labels}
    found.places = {text: label.place for text, label in labelled.items() if label.place} | _places(places - refs.keys())
    found.spots = {text: Spot(label.bag.crate, label.bag) for text, label in labelled.items() if label.bag}
    found.spots |= _spots(bags - refs.keys())
    if serials:
        nothing = {
            text: one for text, one in found.meanings.items() if not one.known and text not in found.places and text not in found.spots
        }
        found.meanings |= _singles(nothing)
    found.listed = _listed({item.pk for text in loose if (item := found.meanings[text].thing)})
    return found


def near_codes(texts: Iterable[str]) -> dict[str, list[dict[str, str]]]:
    """What the catalogue has that is written like each text, the nearest first. One query, which reads every code of the workshop."""
    rows = {text: code for text, code in Identifier.objects.values_list("text", "item__code")}  # noqa: C416 - a dict of pairs, typed
    return {text: [{"code": near, "item": rows[near]} for near in _near(text, rows)] for text in texts}


def near_places(texts: Iterable[str]) -> dict[str, list[str]]:
    """Places that are written like each text, the nearest first. One query."""
    paths = list(Place.objects.filter(end=End.STORAGE).values_list("path", flat=True))
    return {text: _near(text, paths) for text in texts}


def _near(text: str, among: Iterable[str]) -> list[str]:
    found = process.extract(text, list(among), scorer=fuzz.WRatio, processor=str.casefold, limit=NEAR, score_cutoff=LIKE)
    return [near for near, _, _ in found]


def _own_keys(text: str) -> Iterable[str]:
    """How the catalogue may write a code as it was sent, with a symbology identifier before it or without."""
    bare = text[_SYMBOLOGY:] if text.startswith("]") else text
    return {key for key in (codes.key(text), codes.key(bare)) if _may_be_key(key)}


def _named_keys(reading: Reading) -> Iterable[str]:
    return {key for text in item_texts(reading) if _may_be_key(key := codes.key(text))}


def _may_be_key(key: str) -> bool:
    return 0 < len(key) <= MOST_KEY and "\0" not in key


def item_texts(reading: Reading) -> Iterable[str]:
    """The codes in a reading that may name an item, the most telling first. A GTIN is written with and without its leading zeros."""
    if "text" in reading.fields:
        yield str(reading.fields["text"])
    for name in _ITEM_FIELDS:
        text = str(reading.fields.get(name, ""))
        if text:
            yield text
        if name in {"01", "02"} and text:
            yield from (text[-length:] for length in _GTIN_LENGTHS if not text[:-length].strip("0"))


def _items(keys: Iterable[str]) -> dict[str, Item]:
    if not (wanted := set(keys)):
        return {}
    found: dict[str, Item] = {}
    for batch in batches(wanted):
        for key, *row in _fetch(_ITEMS.format(keys=_marks(batch), **_NAMES), [_workshop(), *batch]):
            found[key] = Item.from_db(connection.alias, _ITEM, [ready(value) for ready, value in zip(_READY, row, strict=True)])
    return found


def _may_be_token(text: str) -> bool:
    start = text.strip()[:8].lower()
    return start.startswith(("rl", "http://", "https://", "]")) and "\0" not in text


def _labels(tokens: Iterable[str]) -> dict[str, Label]:
    if not (wanted := set(tokens)):
        return {}
    rows = Label.objects.filter(token__in=wanted).select_related("bag__crate__bench", "lot__item", "lot__bench", "place")
    return {row.token: row for row in rows}


def _meaning(reading: Reading, items: Mapping[str, Item], labels: Mapping[str, Label]) -> Meaning:
    if reading.kind == "token":
        label = labels.get(str(reading.fields["token"]))
        return Meaning(reading, lot=label.lot, bag=label.bag, place=label.place) if label else Meaning(reading)
    item = next((items[key] for text in item_texts(reading) if (key := codes.key(text)) in items), None)
    lot_code = next((str(reading.fields[name]) for name in _LOT_FIELDS if reading.fields.get(name)), "")
    return Meaning(reading, item, None, None, None, lot_code, _stated(reading, "made"), _stated(reading, "expires"))


def _singles(unknown: Mapping[str, Meaning]) -> dict[str, Meaning]:
    """The codes that are the serial number of a single thing; of one that is retired only where no other has it. One query."""
    keys = {text: set(_own_keys(text)) for text, meaning in unknown.items() if meaning.reading.kind != "token"}
    if not (wanted := {cased for text in keys for bare in _bare(text) for cased in _cased(bare)}):
        return {}
    by_key: dict[str, list[Thing]] = {}
    rows = Thing.objects.annotate(head=Upper("serial")).filter(head__in=wanted).exclude(serial="")
    for thing in rows.select_related("lot__item", "lot__bench").order_by("pk"):
        by_key.setdefault(codes.key(thing.serial), []).append(thing)
    found = {text: [thing for key in own for thing in by_key.get(key, ())] for text, own in keys.items()}
    return {text: _of_serial(unknown[text], things) for text, things in found.items() if things}


def _bare(text: str) -> Iterable[str]:
    """A serial number as it may have been sent, with a symbology identifier before it or without."""
    sent = {text.strip(), text[_SYMBOLOGY:].strip() if text.startswith("]") else ""}
    return (one for one in sent if 0 < len(one) <= MOST_KEY and "\0" not in one)


def _of_serial(meaning: Meaning, things: Sequence[Thing]) -> Meaning:
    active = [thing for thing in things if thing.retired_at is None] or things
    return meaning.of_single(active[0]) if len(active) == 1 else replace(meaning, several=tuple(active))


def _stated(reading: Reading, name: str) -> StatedDate | None:
    value = reading.fields.get(name)
    return None if value is None else StatedDate.parse(str(value))


def _places(texts: Iterable[str]) -> dict[str, Place]:
    keys = {text: key for text in texts if (key := _place_key(text))}
    if not keys:
        return {}
    rows = {place.key: place for place in Place.objects.filter(end=End.STORAGE, key__in=set(keys.values()))}
    return {text: rows[key] for text, key in keys.items() if key in rows}


def _place_key(text: str) -> str:
    """A path as places are compared; nothing for one that no place can have."""
    try:
        return place_key(text)
    except Problem:
        return ""


def _spots(texts: Iterable[str]) -> dict[str, Spot]:
    """Bags by `CRATE/bag/path`, crates by their code. A crate's code may hold a slash, so each is tried as the end of one."""
    wanted = {text: _cuts(text) for text in texts if "\0" not in text}
    if not wanted:
        return {}
    pairs = {pair for cuts in wanted.values() for pair in cuts}
    found = {(spot.crate.code.upper(), spot.bag.path.upper()): spot for spot in _bags(pairs) if spot.bag}
    named = {text: spot for text, cuts in wanted.items() for pair in cuts if (spot := found.get((pair[0].upper(), pair[1].upper())))}
    return named | _crates(text for text in wanted if text not in named)


def _listed(items: Iterable[int]) -> dict[int, dict[str, Spot]]:
    """Where open crates list each item."""
    found: dict[int, dict[str, Spot]] = {}
    if not (wanted := set(items)):
        return found
    rows = PackingLine.objects.filter(item__in=wanted, crate__closed_on=None).select_related("crate", "bag").order_by("pk")
    for line in rows:
        spot = Spot(line.crate, line.bag)
        found.setdefault(line.item_id, {})[spot.path] = spot
    return found


def _cuts(text: str) -> Sequence[tuple[str, str]]:
    names = [name.strip() for name in text.split("/")]
    return [("/".join(names[:at]), "/".join(names[at:])) for at in range(1, len(names))]


def _bags(pairs: Iterable[tuple[str, str]]) -> Iterator[Spot]:
    """SQL of our own, for the reason that `inventory.stock.batch` gives; in the workshop in scope, as any read."""
    heads = sorted({text for head, _ in pairs for text in _cased(head)})
    tails = sorted({text for _, tail in pairs for text in _cased(tail)})
    if not heads:
        return
    crates: dict[int, Crate] = {}
    for row in _fetch(_BAGS.format(heads=_marks(heads), tails=_marks(tails), **_NAMES), [_workshop(), *heads, *tails]):
        bag = Bag.from_db(connection.alias, _BAG, row[: len(_BAG)])
        if bag.crate_id not in crates:
            crates[bag.crate_id] = Crate.from_db(connection.alias, _CRATE, row[len(_BAG) :])
        bag.crate = crates[bag.crate_id]
        yield Spot(bag.crate, bag)


def _fetch(sql: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return list(cursor.fetchall())


def _workshop() -> int:
    """The workshop in scope, without which nothing is read."""
    pk: int = get_scope()["workshop"].pk
    return pk


def _marks(values: Sequence[object]) -> str:
    return ", ".join(["%s"] * len(values))


def _columns(model: type[Model], *needed: str) -> list[str]:
    """The columns of a table, or those that are needed of them; what else a row has is read when it is asked for."""
    return [field.attname for field in model._meta.concrete_fields if not needed or field.attname in needed]  # noqa: SLF001 - Django's documented API


def _reader(field: "Field[Any, Any]") -> Callable[[Any], Any]:
    """How a value of the database becomes the row's: our own fields say it."""
    read_value = getattr(field, "from_db_value", None)
    return (lambda value: value) if read_value is None else (lambda value: read_value(value, None, connection))


_BAG, _CRATE = _columns(Bag), _columns(Crate, "id", "workshop_id", "bench_id", "code", "closed_on")
# All that rules a lot's life, and more; what only sealants have is read when it is asked for.
_OF_ITEM = [field for field in Item._meta.concrete_fields if not isinstance(field, DecimalField)]  # noqa: SLF001 - Django's documented API
_ITEM = [field.attname for field in _OF_ITEM]
_READY = [_reader(field) for field in _OF_ITEM]
_NAMES = {
    "identifier": Identifier._meta.db_table,  # noqa: SLF001 - likewise
    "item": Item._meta.db_table,  # noqa: SLF001 - likewise
    "item_columns": ", ".join(f'item."{name}"' for name in _ITEM),
    "bag": Bag._meta.db_table,  # noqa: SLF001 - likewise
    "crate": Crate._meta.db_table,  # noqa: SLF001 - likewise
    "columns": ", ".join([*(f'bag."{name}"' for name in _BAG), *(f'crate."{name}"' for name in _CRATE)]),
}
_ITEMS = """
    SELECT identifier.key, {item_columns} FROM {identifier} identifier JOIN {item} item ON item.id = identifier.item_id
    WHERE identifier.workshop_id = %s AND identifier.key IN ({keys})
"""
_BAGS = """
    SELECT {columns} FROM {bag} bag JOIN {crate} crate ON crate.id = bag.crate_id
    WHERE crate.workshop_id = %s AND UPPER(crate.code) IN ({heads}) AND UPPER(bag.path) IN ({tails})
"""


def _crates(texts: Iterable[str]) -> dict[str, Spot]:
    wanted = {text: text.strip() for text in texts}
    if not wanted:
        return {}
    rows = Crate.objects.annotate(head=Upper("code")).filter(head__in={cased for text in wanted.values() for cased in _cased(text)})
    found = {crate.code.upper(): Spot(crate, None) for crate in rows.select_related("bench")}
    return {text: spot for text, name in wanted.items() if (spot := found.get(name.upper()))}


def _cased(text: str) -> tuple[str, str]:
    """SQLite's UPPER knows only ASCII: the text as it was typed is looked for beside it."""
    return text, text.upper()
