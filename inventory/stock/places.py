"""Writing places, and the hands that goods are in."""

import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count

from django.db import transaction
from simple_history.utils import bulk_create_with_history

from inventory.common.history import changed_by, update_many
from inventory.common.rows import BATCH, batches, find_or_make, referring
from inventory.common.texts import filled
from inventory.stock.models import End, Place
from inventory.stock.problems import MOST_NAME, MOST_PATH, BadPlace, PlaceInUse, PlaceTaken
from inventory.workshop import policy
from inventory.workshop.models import Member, Workshop


def ensure_place(*, workshop: Workshop, path: str, by: Member) -> Place:
    """The place of `path`, made with all it nests in where it isn't there. See `ensure_places`."""
    return ensure_places(workshop=workshop, paths=[path], by=by)[path]


@transaction.atomic
def ensure_places(*, workshop: Workshop, paths: Iterable[str], by: Member) -> dict[str, Place]:
    """The places of `paths` by the path as given, made with all they nest in where they aren't there.

    `/` nests. Case, and blanks around each name, don't tell places apart. The name of an end of the ledger (used, lost ...) is
    refused as a whole path: nobody could tell the two apart. Queries grow with the depth, not with the number of paths.
    """
    policy.own(by, workshop)
    policy.require(by, "keep_stock")
    wanted = {path: _names(path) for path in paths}
    found = _places(workshop, wanted.values())
    if any(_key(names) not in found for names in wanted.values()):
        Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)  # nobody makes one between this look and the save
        found = _places(workshop, wanted.values())
        _make_places(workshop, wanted.values(), found, by)
    return {path: found[_key(names)] for path, names in wanted.items()}


@transaction.atomic
def move_place(*, place: Place, path: str, by: Member) -> Place:
    """Give a place another path: another name, another place that it lies in, or both. All in it goes along.

    What it shall lie in is made where it isn't there. Refuses the path of another place, and one within itself.
    """
    policy.own(by, place)
    policy.require(by, "keep_stock")
    names = _names(path)
    lock_places(place.workshop)
    place = Place.objects.get(pk=place.pk)
    refuse_end(place)
    _refuse_path(place, names)
    parent = ensure_place(workshop=place.workshop, path="/".join(names[:-1]), by=by) if names[:-1] else None
    before, path = place.path, f"{parent.path}/{names[-1]}" if parent else names[-1]
    below = list(Place.objects.filter(end=End.STORAGE, key__startswith=f"{place.key}/").order_by("key"))
    place.parent, place.name = parent, names[-1]
    for row in (place, *below):
        row.path = filled("place", path + row.path[len(before) :], MOST_PATH)
        row.key = filled("place", _key(row.path.split("/")), MOST_PATH)
    update_many(Place, [place, *below], ["parent", "name", "path", "key"], by)
    return place


@transaction.atomic
def remove_place(*, place: Place, by: Member) -> None:
    """Remove a place that nothing refers to. Refuses one that goods ever lay in, or that other places lie in."""
    policy.own(by, place)
    policy.require(by, "keep_stock")
    place = Place.objects.select_for_update().get(pk=place.pk)  # nobody hangs a row on it meanwhile
    refuse_end(place)
    if used := referring(place):
        raise PlaceInUse(f"{place.path} stays: it has {used}")
    changed_by(place, by).delete()


LENT = "Lent"  # what lies in its places is in somebody's hands


@transaction.atomic
def hands_of(*, member: Member, by: Member) -> Place:
    """The place that stands for a member's hands, `Lent/NAME`: pieces lent to them lie there. Made on first use, by whoever lends."""
    policy.own(by, member)
    if (place := Place.objects.filter(hands=member).first()) is not None:
        return place
    lock_places(by.workshop)
    return Place.objects.filter(hands=member).first() or _make_hands(member, by)


def _make_hands(member: Member, by: Member) -> Place:
    """A place that somebody made by hand and named so stays what it is: the borrower's gets a number."""
    found = _places(by.workshop, [(LENT,)])
    _make_places(by.workshop, [(LENT,)], found, by)
    parent = found[_key([LENT])]
    name = _free_name(parent, " ".join(member.name.replace("/", " ").split())[: MOST_NAME - 6] or str(member.pk))
    path = f"{parent.path}/{name}"
    place = Place(workshop=by.workshop, parent=parent, name=name, path=path, key=_key([path]), hands=member)
    changed_by(place, by).save()
    return place


def _free_name(parent: Place, name: str) -> str:
    taken = set(Place.objects.filter(end=End.STORAGE, key__startswith=f"{parent.key}/").values_list("key", flat=True))
    numbered = (name if number == 1 else f"{name} {number}" for number in count(1))
    return next(name for name in numbered if _key([parent.path, name]) not in taken)


@transaction.atomic
def rename_hands(*, member: Member, name: str, by: Member) -> None:
    """Call the place of a member's hands something else, in its earlier versions too: who leaves may take their name with them."""
    policy.own(by, member)
    lock_places(by.workshop)
    place = Place.objects.select_related("parent").filter(hands=member).first()
    if place is None or place.parent is None:
        return
    place.name = _free_name(place.parent, name)
    place.path = f"{place.parent.path}/{place.name}"
    place.key = _key([place.path])
    changed_by(place, by).save(update_fields=["name", "path", "key"])
    Place.history.filter(id=place.pk).update(name=place.name, path=place.path, key=place.key)


def _refuse_path(place: Place, names: Sequence[str]) -> None:
    wanted, key = "/".join(names), _key(names)
    if key.startswith(f"{place.key}/"):
        raise BadPlace(f"{wanted} is within {place.path}: a place can't lie in itself")
    if Place.objects.filter(workshop=place.workshop_id, end=End.STORAGE, key=key).exclude(pk=place.pk).exists():
        raise PlaceTaken(f"{wanted} is another place already: move what lies there, or give this one another name")


def lock_places(workshop: Workshop) -> None:
    """Hold the workshop until the transaction ends: nobody makes or moves a place meanwhile."""
    Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)


def place_key(path: str) -> str:
    """`path` as it is compared, and kept beside it. Refuses what `ensure_places` would."""
    return _key(_names(path))


def end_place(workshop: Workshop, end: End) -> Place:
    """The place that stands for an end of the ledger; made on first use."""

    def make() -> Place:
        place = changed_by(Place(workshop=workshop, name=end.value, path=end.value, key=end.value, end=end), None)
        place.save()
        return place

    return find_or_make(lambda: Place.objects.filter(workshop=workshop, end=end, key=end.value).first(), make)[0]


def _names(path: str) -> tuple[str, ...]:
    names = tuple(filled("place name", name, MOST_NAME) for name in path.split("/"))
    for whole in ("/".join(names), _key(names)):
        filled("place", whole, MOST_PATH)
    if _key(names) in set(End.values) - {End.STORAGE}:
        raise BadPlace(f"{names[0]} is an end of the ledger, where nothing lies: give the place another name")
    return names


def _key(names: Sequence[str]) -> str:
    return unicodedata.normalize("NFC", "/".join(names).casefold())


def _heads(names: Sequence[str]) -> Iterator[Sequence[str]]:
    """The way down: `A`, `A/B`, `A/B/C`."""
    return (names[:depth] for depth in range(1, len(names) + 1))


def _places(workshop: Workshop, wanted: Iterable[Sequence[str]]) -> dict[str, Place]:
    keys = {_key(head) for names in wanted for head in _heads(names)}
    found: dict[str, Place] = {}
    for batch in batches(keys):
        rows = Place.objects.filter(workshop=workshop, end=End.STORAGE, key__in=batch)
        found.update((place.key, place) for place in rows)
    return found


def _make_places(workshop: Workshop, wanted: Iterable[Sequence[str]], found: dict[str, Place], by: Member) -> None:
    """Make what is missing level by level, since a place needs the id of the one it lies in."""
    heads = {_key(head): head for names in wanted if _key(names) not in found for head in _heads(names)}
    for depth in sorted({len(head) for head in heads.values()}):
        missing = [(key, head) for key, head in heads.items() if len(head) == depth and key not in found]
        rows = [_place(workshop, key, head, found) for key, head in missing]
        if rows:
            bulk_create_with_history(rows, Place, batch_size=BATCH, default_user=by)
        found.update((place.key, place) for place in rows)


def _place(workshop: Workshop, key: str, names: Sequence[str], found: Mapping[str, Place]) -> Place:
    parent = found[_key(names[:-1])] if names[:-1] else None
    path = f"{parent.path}/{names[-1]}" if parent else names[-1]
    return Place(workshop=workshop, parent=parent, name=names[-1], path=path, key=key)


def refuse_end(place: Place) -> None:
    """Raise `BadPlace` where nothing can lie."""
    if place.end != End.STORAGE:
        raise BadPlace(f"{place.path} is an end of the ledger, where nothing lies: name a storage place")
