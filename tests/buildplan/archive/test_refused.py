"""Archives that nobody should trust: each is refused with a sentence that says what is wrong, and nothing of it stays."""

import csv
import hashlib
import io
import json
import stat
import zipfile

import pytest
from django.db import connection, transaction
from django_scopes import scopes_disabled

from buildplan.archive import manifest, opening, restoring
from buildplan.archive.problems import BadArchive, NotSaved
from buildplan.archive.restoring import Asked, restore
from buildplan.archive.saving import save
from inventory.models import Lot, Movement, Photo, User, Workshop
from inventory.photos.services import path_of
from tests import factories, pictures
from tests.buildplan.archive.conftest import CODE, NOW

pytestmark = pytest.mark.django_db

LOTS = "tables/inventory/Lot.csv"
ITEMS = "tables/inventory/Item.csv"


class Parts:
    """An archive taken apart: what a hand could change. `said` is its manifest, `files` everything else."""

    def __init__(self, path):
        with zipfile.ZipFile(path) as packed:
            self.files = {name: packed.read(name) for name in packed.namelist()}
        self.said = json.loads(self.files.pop(manifest.NAME))
        self.raw = {}

    def change(self, name, old, new, *, honest=True):
        """Another text in a file; an honest one says so in the manifest."""
        assert old.encode() in self.files[name], f"{old!r} is not in {name}"
        self.files[name] = self.files[name].replace(old.encode(), new.encode(), 1)
        if honest:
            self.told(name)

    def told(self, name):
        entry = next(one for one in self.said["tables"].values() if one["file"] == name)
        entry |= {"bytes": len(self.files[name]), "sha256": hashlib.sha256(self.files[name]).hexdigest()}

    def written(self, path, entries=()):
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
            for name, data in self.files.items():
                packed.writestr(name, data)
            for name, data in entries:
                packed.writestr(name, data)
            packed.writestr(manifest.NAME, json.dumps(self.said))
        return path


@pytest.fixture
def nothing_stays():
    """Whatever is refused leaves the database and the folder of uploads as they were."""

    def counted():
        with scopes_disabled():
            return [model._base_manager.count() for model in (Workshop, User, Movement, Photo)], len(pictures.files())

    return counted


def refusal(path, **asked):
    point = transaction.savepoint()
    try:
        with pytest.raises(BadArchive) as refused:
            restore(asked=Asked(path, **asked))
    finally:
        transaction.savepoint_rollback(point) if connection.needs_rollback else transaction.savepoint_commit(point)
    return str(refused.value)


def first_row(parts, name):
    return parts.files[name].decode().splitlines()[1]


def lot_cell(parts, column):
    header, row = parts.files[LOTS].decode().splitlines()[:2]
    return row.split(",")[header.split(",").index(column)]


def test_what_is_no_sound_archive_is_refused_before_anything_is_read(moved, tmp_path, nothing_stays):
    before, whole = nothing_stays(), moved.path.read_bytes()
    cases = {
        "no zip": (b"a,b,c\n1,2,3\n", "is no zip"),
        "cut off": (whole[: len(whole) // 2], "is no zip"),
        "empty": (b"", "is no zip"),
        "another zip": (zipped({"notes.txt": b"hello"}), "there is no manifest.json in it"),
        "another manifest": (zipped({manifest.NAME: b'{"format": "other"}'}), "no archive of a workshop"),
        "no JSON": (zipped({manifest.NAME: b"{"}), "is no JSON"),
        "climbs out": (zipped({"../../evil.sh": b"x"}), "is a path that climbs out"),
        "climbs out on another system": (zipped({"tables\\..\\..\\evil": b"x"}), "is a path that climbs out"),
        "absolute": (zipped({"/etc/passwd": b"x"}), "is an absolute path"),
        "a drive": (zipped({"C:/evil": b"x"}), "is an absolute path"),
        "a link": (linked(), "is a link"),
        "a folder": (zipped({"photos/": b""}), "is a folder"),
    }
    for name, (data, says) in cases.items():
        path = tmp_path / f"{name}.zip"
        path.write_bytes(data)
        assert says in refusal(path), name
    assert "can't be read" in refusal(tmp_path / "nowhere.zip")
    assert nothing_stays() == before


def zipped(files):
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as packed:
        for name, data in files.items():
            packed.writestr(zipfile.ZipInfo(name), data)
    return made.getvalue()


def linked():
    made, entry = io.BytesIO(), zipfile.ZipInfo("photos/link.jpg")
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(made, "w") as packed:
        packed.writestr(entry, "/etc/passwd")
    return made.getvalue()


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_what_differs_from_the_manifest_is_refused(moved, tmp_path, nothing_stays):
    before, photo = nothing_stays(), f"photos/{moved.photo.digest}.jpg"

    def case(change, says, entries=()):
        parts = Parts(moved.path)
        change(parts)
        assert says in refusal(parts.written(tmp_path / "case.zip", entries))

    case(lambda parts: None, "is in it twice", [(ITEMS, b"x")])
    case(lambda parts: None, "not in its manifest", [("tables/more.csv", b"x")])
    case(lambda parts: parts.files.pop(photo), f"{photo} is missing")
    case(lambda parts: parts.files.pop(LOTS), f"{LOTS} is missing")
    case(lambda parts: parts.files.update({photo: b"\xff\xd8\xff another picture"[: len(parts.files[photo])]}), "take another copy")
    case(lambda parts: parts.files.update({photo: parts.files[photo][:-1] + b"x"}), "its SHA-256 is another")
    case(lambda parts: parts.change(LOTS, "good", "evil", honest=False), "its SHA-256 is another")
    case(lambda parts: parts.files.update({LOTS: parts.files[LOTS] + b"more"}), "is larger than the manifest says")
    case(lambda parts: parts.said["tables"]["inventory.Lot"].update(rows=99), "and the manifest says 99")
    case(lambda parts: parts.said["tables"].pop("inventory.Lot") and parts.files.pop(LOTS), f"{LOTS} is missing")
    case(lambda parts: parts.said.update(version=2), "bring the program up to date")
    case(lambda parts: parts.said.update(version="1"), "is no format version")
    case(lambda parts: parts.said.pop("workshop"), "is incomplete")
    case(lambda parts: parts.said["tables"]["inventory.Lot"].update(file=ITEMS), "names a file twice")
    case(lambda parts: parts.said["migrations"].update(inventory="9999_from_the_future"), "by a newer program")
    case(
        lambda parts: parts.said["tables"].update({"inventory.Lott": parts.said["tables"].pop("inventory.Lot")}),
        "did you mean inventory.Lot?",
    )
    assert nothing_stays() == before


def test_zip_bomb_is_refused_by_what_it_claims_and_by_what_it_holds(moved, tmp_path, monkeypatch, nothing_stays):
    before, parts = nothing_stays(), Parts(moved.path)
    parts.files[LOTS] += b"0" * 30_000_000
    assert "is larger than the manifest says" in refusal(parts.written(tmp_path / "holds.zip"))

    parts.told(LOTS)
    assert "zip bomb" in refusal(parts.written(tmp_path / "claims.zip"))

    monkeypatch.setattr(opening, "MOST_BYTES", 1000)
    assert "are the most" in refusal(moved.path)
    assert nothing_stays() == before


def test_rows_that_make_no_sense_are_named_by_file_line_and_column(moved, tmp_path, nothing_stays):
    before = nothing_stays()

    def case(name, old, new, *says):
        parts = Parts(moved.path)
        parts.change(name, old(parts) if callable(old) else old, new)
        told = refusal(parts.written(tmp_path / "case.zip"))
        for text in says:
            assert text in told

    row = lambda parts: first_row(parts, LOTS)  # noqa: E731 - a row as it stands
    case(LOTS, "bench,item", "bench,itme", f"{LOTS}:1: no such column 'itme': did you mean item?", "item: this column is missing")
    case(LOTS, "bench,item", "bench,bench", "bench: this column stands twice")
    case(LOTS, row, "1,2,3", f"{LOTS}:2: 3 cells, and the header has")
    case(LOTS, ",good,", ",bad,", f"{LOTS}:2: state: 'bad' is none of disputed, failed, good, quarantined")
    case(LOTS, row, f"x{row(Parts(moved.path))}", f"{LOTS}:2: id:", "is no whole number")
    case(ITEMS, "MARSH-ITEM,", f"{'M' * 200},", f"{ITEMS}:2: code:", "characters, and")
    case("tables/inventory/Movement.csv", "2027-02-20", "2027-02-31", "tables/inventory/Movement.csv:2: on: '2027-02-31' is no day")
    case("tables/inventory/Scan.csv", '"{""', '"[""', "is no JSON")
    case("tables/inventory/Member.csv", moved.address, "nobody", "user: 'nobody' is no e-mail address")
    case(LOTS, row, '"a"x,1', f"{LOTS}:2: can't be read as CSV")

    parts = Parts(moved.path)
    lines = parts.files[LOTS].decode().splitlines(keepends=True)
    bench = lot_cell(parts, "bench")
    lines[1] = lines[1].replace(f",{bench},", ",424242,", 1)
    parts.files[LOTS] = "".join(lines).encode()
    parts.told(LOTS)
    assert f"{LOTS}:2: bench: no row 424242 of inventory.Bench is in this archive" in refusal(parts.written(tmp_path / "case.zip"))
    assert nothing_stays() == before


def test_what_the_database_refuses_is_named_by_its_row(moved, tmp_path, nothing_stays):
    before, parts = nothing_stays(), Parts(moved.path)
    tokens = [line.split(",")[1] for line in parts.files["tables/inventory/Label.csv"].decode().splitlines()[1:]]
    with scopes_disabled():
        factories.LabelFactory(lot=factories.LotFactory(), token=tokens[0])
    assert "tables/inventory/Label.csv:2: another row" in refusal(moved.path)
    with scopes_disabled():
        assert not Workshop.objects.filter(code=CODE).exists()

    rows = parts.files["tables/inventory/Movement.csv"].decode().splitlines()
    at = rows[0].split(",").index("quantity")
    cells = rows[2].split(",")
    changed = ",".join([*cells[:at], "-1", *cells[at + 1 :]])
    parts.change("tables/inventory/Movement.csv", rows[2], changed)
    assert "tables/inventory/Movement.csv:3: the database refuses it" in refusal(parts.written(tmp_path / "case.zip"))
    assert nothing_stays()[0][2:] == [before[0][2], before[0][3]]


def test_ledger_that_does_not_add_up_is_refused(moved, tmp_path):
    parts = Parts(moved.path)
    name = "tables/inventory/Holding.csv"
    row = first_row(parts, name)
    parts.change(name, row, f"{row.rpartition(',')[0]},123456")

    told = refusal(parts.written(tmp_path / "case.zip"))

    assert "the holding says 123456, and its movements add up to" in told


def test_workshop_that_is_here_is_never_loaded_over(rich, archive, nothing_stays):
    before = nothing_stays()

    assert "is here already" in refusal(archive)
    assert "Is a copy of this workshop here?" in refusal(archive, code="COPY", link=True)
    assert nothing_stays() == before


def test_files_are_taken_away_again_where_the_last_moment_fails(moved, monkeypatch, nothing_stays):
    """As a disk that is full half way through the photos."""
    before, kept = nothing_stays(), restoring._Restoring._keep_photos

    def breaks(load, found):
        kept(load, found)
        raise OSError("the disk is full")

    monkeypatch.setattr(restoring._Restoring, "_keep_photos", breaks)
    point = transaction.savepoint()
    with pytest.raises(OSError, match="full"):
        restore(asked=Asked(moved.path))
    transaction.savepoint_rollback(point)

    assert nothing_stays() == before


def test_workshop_with_a_lost_or_changed_photo_is_not_saved_and_no_file_is_left(rich, tmp_path):
    path = tmp_path / "none.zip"
    picture = path_of(rich.photo)
    other = next(found for found in pictures.files() if found != picture)
    picture.write_bytes(b"another")
    other.write_bytes(b"another")
    with pytest.raises(NotSaved, match="is not what was kept"):
        save(workshop=rich.workshop, path=path, now=NOW)
    picture.unlink()
    other.unlink()
    with pytest.raises(NotSaved, match="photos are missing from the folder of uploads") as refused:
        save(workshop=rich.workshop, path=path, now=NOW)

    assert other.name in str(refused.value)
    assert not path.exists()
    assert list(tmp_path.glob(".*")) == []


def test_file_that_is_there_is_not_overwritten(rich, archive):
    before = archive.read_bytes()
    with pytest.raises(NotSaved, match="is there already"):
        save(workshop=rich.workshop, path=archive, now=NOW)

    assert archive.read_bytes() == before
    assert stat.S_IMODE(archive.stat().st_mode) == 0o600


def test_archive_of_an_older_program_is_loaded_with_first_values_for_what_is_new(moved, tmp_path):
    parts = Parts(moved.path)
    parts.said["migrations"]["inventory"] = "0001_first_tables"
    gone = parts.said["tables"].pop("inventory.LabelSheet")
    parts.files.pop(gone["file"])
    parts.files[LOTS] = without(parts.files[LOTS].decode(), "storage_why").encode()
    parts.told(LOTS)

    members = parts.said["tables"].pop("inventory.Member")
    away = parts.files.pop(members["file"])
    assert f"{members['file']} is missing" in refusal(parts.written(tmp_path / "nobody.zip"))
    parts.said["tables"]["inventory.Member"], parts.files[members["file"]] = members, away

    found = restore(asked=Asked(parts.written(tmp_path / "older.zip")))

    assert "older program" in found.warnings[0]
    with scopes_disabled():
        assert set(Lot.objects.filter(workshop=found.workshop).values_list("storage_why", flat=True)) == {""}

    parts.files[LOTS] = without(parts.files[LOTS].decode(), "bench").encode()
    parts.told(LOTS)
    assert "bench: this column is missing" in refusal(parts.written(tmp_path / "too old.zip"), code="OTHER", link=True)


def without(text, column):
    rows = list(csv.reader(io.StringIO(text, newline="")))
    at = rows[0].index(column)
    made = io.StringIO(newline="")
    csv.writer(made, lineterminator="\r\n").writerows([*row[:at], *row[at + 1 :]] for row in rows)
    return made.getvalue()
