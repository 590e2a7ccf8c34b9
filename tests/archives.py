"""Two archives compared without any of the program's own code: equal, save that ids may be others.

Rows stand in both in the order of their ids. So the nth row of a table in one is the nth in the other, and that pairs their ids; every
other place where an id stands must then say the same pair, both ways. What names rows is written down here once more, by hand.
"""

import csv
import io
import json
import re
import zipfile

from django.apps import apps

from inventory.models import User

REF = re.compile(r"([a-z-]+):(\d+)(/.*)?", re.ASCII)
REFS = {
    "bag": "inventory.Bag",
    "crate": "inventory.Crate",
    "cut": "buildplan.Cut",
    "finish": "buildplan.Finish",
    "line": "inventory.PackingLine",
    "load": "buildplan.LoadedFile",
    "loan": "inventory.Loan",
    "loan-end": "inventory.LoanEnd",
    "log": "buildplan.LogEntry",
    "lot": "inventory.Lot",
    "mix": "buildplan.Mix",
    "step": "buildplan.Step",
    "supply": "buildplan.SealingSupply",
    "tally": "inventory.Tally",
    "test": "inventory.UpdateTest",
    "transfer": "inventory.Transfer",
}
IN_SCANS = {"lot": "inventory.Lot", "loan": "inventory.Loan", "tally": "inventory.Tally", "movements": "inventory.Movement"}
FREE = {"code", "saved_at"}  # of the manifest and the workshop, where it was loaded under another code


class Pairs:
    """Which id of one archive is which of the other."""

    def __init__(self):
        self.there, self.back, self.faults = {}, {}, []

    def same(self, table, one, other, where):
        if self.there.setdefault((table, one), other) != other or self.back.setdefault((table, other), one) != one:
            self.faults.append(f"{where}: {table} {one} is {other} here, and {self.there[table, one]} elsewhere")


def links():
    """The foreign keys of every table, as Django tells them: the label and column, and the table they point into."""
    fields = [(model, field) for model in apps.get_models() for field in model._meta.concrete_fields if field.remote_field]
    return {(model._meta.label, field.name): field.related_model._meta.label for model, field in fields if field.related_model is not User}


def differences(one, other):
    """What differs between two archives."""
    columns = links()
    with zipfile.ZipFile(one) as first, zipfile.ZipFile(other) as second:
        return _differences(first, second, columns)


def _differences(first, second, columns):
    said = [json.loads(packed.read("manifest.json")) for packed in (first, second)]
    faults = [name for name in ("format", "version", "migrations", "photos") if said[0][name] != said[1][name]]
    faults += [] if said[0]["tables"].keys() == said[1]["tables"].keys() else ["tables"]
    photos = [{name for name in packed.namelist() if name.startswith("photos/")} for packed in (first, second)]
    faults += [f"photo {name}" for name in photos[0] ^ photos[1]]
    faults += [f"photo {name}" for name in photos[0] & photos[1] if first.read(name) != second.read(name)]
    pairs = Pairs()
    for label in said[0]["tables"]:
        rows = [list(_rows(packed, said[at]["tables"][label]["file"])) for at, packed in enumerate((first, second))]
        if len(rows[0]) != len(rows[1]):
            faults.append(f"{label}: {len(rows[0])} and {len(rows[1])} rows")
        for number, (left, right) in enumerate(zip(*rows, strict=False), 1):
            faults += _row(label, number, left, right, columns, pairs)
    return faults + pairs.faults


def _rows(packed, name):
    return csv.DictReader(io.TextIOWrapper(packed.open(name), encoding="utf-8", newline=""), strict=True)


def _row(label, number, left, right, columns, pairs):
    of = label.replace(".Historical", ".")
    for column in left.keys() | right.keys():
        one, other, where = left.get(column), right.get(column), f"{label} row {number}, {column}"
        if of == "inventory.Workshop" and column in FREE:
            continue
        target = of if column == "id" else columns.get((label, column))
        if target and one and other:
            pairs.same(target, int(one), int(other), where)
        elif normal := NORMAL.get(f"{of}.{column}"):
            yield from normal(json.loads(one), json.loads(other), where, pairs)
        elif column == "ref" or f"{of}.{column}" == "buildplan.DayCheck.key":
            yield from _ref(one, other, where, pairs)
        elif f"{of}.{column}" == "buildplan.Task.subject":
            yield from _subject(one, other, where, pairs)
        elif f"{of}.{column}" == "buildplan.PickTick.steps":
            for mine, theirs in zip(one.split(","), other.split(","), strict=True):
                pairs.same("buildplan.Step", int(mine), int(theirs), where)
        elif one != other:
            yield f"{where}: {one!r} and {other!r}"


def _ref(one, other, where, pairs):
    found = [REF.fullmatch(text) for text in (one, other)]
    kinds = [match and match[1] for match in found]
    if all(found) and kinds[0] == kinds[1] and kinds[0] in REFS and found[0][3] == found[1][3]:
        pairs.same(REFS[kinds[0]], int(found[0][2]), int(found[1][2]), where)
    elif one != other:
        yield f"{where}: {one!r} and {other!r}"


SUBJECTS = {
    r"coming:(\d+)": ["inventory.PackingLine"],
    r"gone:(\d+)": ["inventory.Movement"],
    r"mark:(\d+)": ["buildplan.Mark"],
    r"(?:shelf|lent):(\d+):(\d+)": ["inventory.Lot", "inventory.Place"],
    r"step:(\d+):lot:(\d+)": ["buildplan.Step", "inventory.Lot"],
    r"step:(\d+):item:.*": ["buildplan.Step"],
}


def _subject(one, other, where, pairs):
    for pattern, tables in SUBJECTS.items():
        found = [re.fullmatch(pattern, text) for text in (one, other)]
        if all(found):
            for at, table in enumerate(tables, 1):
                pairs.same(table, int(found[0][at]), int(found[1][at]), where)
            return
    if one != other:
        yield f"{where}: {one!r} and {other!r}"


def _scan(one, other, where, pairs, named=None):
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        for key in one:
            yield from _scan(one[key], other[key], where, pairs, IN_SCANS.get(key))
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for mine, theirs in zip(one, other, strict=True):
            yield from _scan(mine, theirs, where, pairs, named)
    elif named and isinstance(one, int) and isinstance(other, int):
        pairs.same(named, one, other, where)
    elif one != other:
        yield f"{where}: {one!r} and {other!r}"


def _letter(one, other, where, pairs):
    photos = [found.pop("photos", []) for found in (one, other)]
    for mine, theirs in zip(*photos, strict=True):
        pairs.same("inventory.Photo", mine.pop("id"), theirs.pop("id"), where)
    if (one, photos[0]) != (other, photos[1]):
        yield f"{where}: {one!r} and {other!r}"


def _closed(one, other, where, pairs):
    points = [found.pop("points", []) for found in (one, other)]
    for mine, theirs in zip(*points, strict=True):
        pairs.same("inventory.Member", mine.pop("by"), theirs.pop("by"), where)
    if (one, points[0]) != (other, points[1]):
        yield f"{where}: {one!r} and {other!r}"


def _seen(one, other, where, pairs):
    for mine, theirs in zip(one.pop("photos", []), other.pop("photos", []), strict=True):
        pairs.same("inventory.Photo", mine, theirs, where)
    hours = [found.pop("hours", []) for found in (one, other)]
    names = [sorted(row for row in rows if isinstance(row[0], str)) for rows in hours]
    members = [sorted(row for row in rows if isinstance(row[0], int)) for rows in hours]
    for mine, theirs in zip(*members, strict=True):  # ids keep their order
        pairs.same("inventory.Member", mine[0], theirs[0], where)
        names[0].append(mine[1:])
        names[1].append(theirs[1:])
    if (one, names[0]) != (other, names[1]):
        yield f"{where}: {one!r} and {other!r}"


NORMAL = {
    "buildplan.Closing.kept": _closed,
    "buildplan.Signature.seen": _seen,
    "inventory.Claim.facts": _letter,
    "inventory.Scan.answer": _scan,
    "inventory.Scan.asked": _scan,
}
