import csv
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import transaction
from django_scopes import scope, scopes_disabled
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from buildplan.loading import export
from buildplan.loading.columns import COLUMNS
from buildplan.loading.services import Request, load
from buildplan.loading.targets import Named
from buildplan.models import CallOut, Project, Step, StepAfter
from inventory.catalogue.services import ItemData, add_identifier, save_items
from inventory.models import Bench, Holding, Identifier, Item, Workshop
from inventory.workshop.services import hand
from tests import factories, loads

TODAY = date(2027, 3, 1)
ITEMS = (
    "ITEM,NAME,KIND,UNIT,identifiers,pack,lead_days,life_months,open_life_days,min_life_days,diameter,gravity,base,accelerator",
    'SEAL-B2,"Sealant, tank; ""B""",sealant,g,PS-B2;B 2,150.5,14,9,0,3,1/8,1.61,100,12.5',
    "=1+1,'007 × ø,part,ea,007;1/8,,,,,,0.123456789012,,,",
    "#N/A,☃ 雪,other,m**2,,0.001,0,,,,,,,",
)
STOCK = (
    f"{loads.STOCK},lot,made,expires,opened,state",
    "SEAL-B2,250.125,Hangar/Rack 1,S-1,2024-02,2Q27,,",
    "SEAL-B2,70,Hangar/Rack 1,S-1,2024-02,2Q27,2026-12-24,",
    "SEAL-B2,0.001,Kühlschrank,S-1,2024-02,2Q27,,failed",
    "SEAL-B2,3,Hangar,,,2027-05-09,,",
    "=1+1,1000000000000,=cmd,,,,,quarantined",
)
STEPS = (
    f"{loads.STEPS},planned,after,minutes,done,hand",
    "F1-01,Floats,Drill,2027-03-05,,90,2027-02-11,left",
    "F1-02,Wing,=Rivet,,F1-01,,yes,",
    'F1-03,Floats,"Seal, then wait",2027-04-01,F1-02;F1-01,0,,none',
)
NEEDS = loads.NEEDS, "F1-03,SEAL-B2,85.5", "F1-01,=1+1,4", "F1-03,=1+1,2"


def into(workshop, kind, path, **how):
    outcome = load(Request(kind, path, Named(workshop=workshop, project="P" if kind == "plan" else None), **how), today=TODAY)
    assert outcome.errors == []
    return outcome


@pytest.fixture
def ours(db, outsider, tmp_path):
    """A workshop with something in every column, beside an outsider's."""
    folder = tmp_path / "first"
    into("OURS", "catalogue", loads.table(folder / "c.csv", *ITEMS))
    into("OURS", "stock", loads.table(folder / "s.csv", *STOCK))
    loads.table(folder / "plan" / "needs.csv", *NEEDS)
    loads.table(folder / "plan" / "steps.csv", *STEPS)
    into("OURS", "plan", folder / "plan")
    return Workshop.objects.get(code="OURS")


def contents(code):
    """All that can be exported, without what differs from database to database."""
    with scope(workshop=Workshop.objects.get(code=code)):
        return {
            "items": list(Item.objects.order_by("pk").values_list(*ITEM_FIELDS)),
            "codes": set(Identifier.objects.values_list("item__code", "key", "text")),
            "holdings": sorted(map(str, Holding.objects.values_list(*HOLDING_FIELDS))),
            "steps": list(Step.objects.order_by("position").values_list(*STEP_FIELDS)),
            "afters": set(StepAfter.objects.values_list("step__code", "after__code")),
            "needs": set(CallOut.objects.values_list("step__code", "item__code", "quantity")),
        }


NOT_IN_FILES = {"id", "workshop", "extend_part"}  # the last is said on the item's page of storage, with its storage rule
ITEM_FIELDS = [field.name for field in Item._meta.concrete_fields if field.name not in NOT_IN_FILES]
LOT_FIELDS = ("item__code", "code", "made_on", "made_as", "expires_on", "expires_as", "opened_on", "state")
HOLDING_FIELDS = (*(f"lot__{name}" for name in LOT_FIELDS), "place__path", "quantity")
STEP_FIELDS = ("code", "title", "section__name", "section__position", "position", "planned_on", "minutes", "hand", "done", "done_on")


def export_all(workshop, folder, suffix):
    folder.mkdir(exist_ok=True)
    plan = folder / ("plan.xlsx" if suffix == "xlsx" else "plan")
    with scope(workshop=workshop):
        export.export_catalogue(folder / f"c.{suffix}")
        export.export_stock(folder / f"s.{suffix}", Bench.objects.get())
        export.export_plan(plan, Project.objects.get())
    return folder / f"c.{suffix}", folder / f"s.{suffix}", plan


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_export_loads_back_equal_into_a_fresh_workshop(ours, tmp_path, suffix):
    for kind, path in zip(("catalogue", "stock", "plan"), export_all(ours, tmp_path / "out", suffix), strict=True):
        into("FRESH", kind, path)
    assert contents("FRESH") == contents("OURS")
    assert len(contents("FRESH")["holdings"]) == 5


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_export_loads_back_into_its_own_workshop_and_changes_nothing(ours, tmp_path, suffix):
    before = contents("OURS")
    items, stock, plan = export_all(ours, tmp_path / "out", suffix)
    assert into("OURS", "catalogue", items).loaded == {"items": 3, "new": 0, "changed": 0, "identifiers": 0}
    assert into("OURS", "stock", stock, recount=True).loaded == {"lots": 0, "movements": 0}
    assert into("OURS", "plan", plan).loaded == {"steps": 3, "new": 0, "changed": 0, "removed": 0, "call_outs": 3}
    assert contents("OURS") == before


def test_export_keeps_dates_as_precise_as_they_were_stated(ours, tmp_path):
    _, stock, _ = export_all(ours, tmp_path / "out", "csv")
    with stock.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert {(row["made"], row["expires"]) for row in rows if row["lot"] == "S-1"} == {("2024-02", "2Q2027")}
    assert {row["QUANTITY"] for row in rows} == {"250.125", "70", "0.001", "3", "1000000000000"}


def test_export_has_the_columns_of_loading():
    assert {name: {title.lower() for title in titles} for name, titles in export.HEADERS.items()} == {
        name: set(COLUMNS[name].names) for name in export.HEADERS
    }
    assert all(
        {title.lower() for title in titles if title.isupper()} == set(COLUMNS[name].required) for name, titles in export.HEADERS.items()
    )


def test_export_writes_cells_that_stay_text(ours, tmp_path):
    items, *_ = export_all(ours, tmp_path / "out", "xlsx")
    cells = [cell for row in load_workbook(items)["catalogue"].iter_rows() for cell in row if cell.value is not None]
    assert {(cell.data_type, cell.number_format) for cell in cells} == {("s", "@")}


def test_export_of_a_lot_that_files_cannot_tell_from_another_is_one_row(lot, tmp_path):
    place = factories.PlaceFactory(workshop=lot.workshop, path="Rack")
    for one in (lot, factories.LotFactory(bench=lot.bench, item=lot.item, code=lot.code)):
        factories.stock(one, 5, place)
    factories.stock(factories.LotFactory(bench=lot.bench, item=lot.item), 0.5 * 2, place)
    Holding.objects.filter(lot__code=lot.code).update(quantity=Decimal(5))
    assert export.export_stock(tmp_path / "s.csv", lot.bench) == {"stock": 2}


def test_export_leaves_out_empty_holdings_and_other_benches(lot, other_bench, tmp_path):
    holding = factories.stock(lot, 5)
    factories.stock(factories.LotFactory(bench=other_bench, item=lot.item), 7)
    Holding.objects.filter(pk=holding.pk).update(quantity=Decimal(0))
    with pytest.raises(export.NothingThere):
        export.export_stock(tmp_path / "s.csv", lot.bench)
    assert list(tmp_path.iterdir()) == []


def test_export_of_a_plan_without_needs_takes_an_old_needs_file_away(project, tmp_path):
    factories.StepFactory(project=project, code="A")
    loads.table(tmp_path / "plan" / "needs.csv", loads.NEEDS, "GONE,X,1")
    assert export.export_plan(tmp_path / "plan", project) == {"steps": 1}
    assert [path.name for path in (tmp_path / "plan").iterdir()] == ["steps.csv"]


def test_export_refuses_a_code_that_a_file_cannot_hold(item, owner, tmp_path):
    add_identifier(item=item, text="A;B", by=owner)
    with pytest.raises(export.NotForFiles, match="'A;B', a code of "):
        export.export_catalogue(tmp_path / "c.csv")


def test_export_takes_the_place_of_an_old_file_at_once(item, tmp_path):
    path = tmp_path / "c.csv"
    path.write_text("old")
    export.export_catalogue(path)
    assert path.read_text().startswith("ITEM,")
    assert [found.name for found in tmp_path.iterdir()] == ["c.csv"]


def test_export_that_fails_leaves_the_old_file(item, tmp_path, monkeypatch):
    path = tmp_path / "c.csv"
    path.write_text("old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(export.os, "fsync", full)
    with pytest.raises(export.NoTarget, match="No space left on device"):
        export.export_catalogue(path)
    assert path.read_text() == "old"
    assert [found.name for found in tmp_path.iterdir()] == ["c.csv"]


@pytest.mark.parametrize("name", ["c.txt", "c", "missing/c.csv", "."])
def test_export_refuses_a_path_that_it_cannot_write(item, tmp_path, name):
    with pytest.raises(export.NoTarget):
        export.export_catalogue(tmp_path / name)


def test_export_of_a_plan_refuses_one_csv_file(project, tmp_path):
    factories.StepFactory(project=project)
    with pytest.raises(export.NoTarget, match="name a folder"):
        export.export_plan(tmp_path / "plan.csv", project)


def test_export_of_an_outsiders_rows_is_none(item, tmp_path):
    export.export_catalogue(tmp_path / "c.csv")
    assert "OUTSIDE" not in (tmp_path / "c.csv").read_text()


# Letters, marks and signs of any script, blanks between them; what no row takes (see `fitting`) is left out.
TEXTS = st.text(st.characters(exclude_categories=("C", "Z")) | st.sampled_from(" ,;\"'=/#@\\|"), min_size=1, max_size=30).filter(
    lambda text: text.isprintable() and text == text.strip()
)
CODES = TEXTS.filter(lambda text: ";" not in text)
FIGURES = st.decimals(min_value=Decimal("0.001"), max_value=Decimal(10) ** 11, places=3)


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.tuples(CODES, TEXTS, FIGURES, st.fractions(Fraction(1, 64), 9, max_denominator=999)), min_size=1, max_size=4))
def test_export_of_any_texts_loads_back_equal(db, tmp_path, suffix, rows):
    with transaction.atomic():
        first = factories.WorkshopFactory(code="FIRST")
        distinct = {export.key(code): ItemData(code, name, "part", "ea", pack=pack, diameter=size) for code, name, pack, size in rows}
        with scope(workshop=first):
            save_items(items=list(distinct.values()), by=hand(first))
            export.export_catalogue(tmp_path / f"c.{suffix}")
        into("SECOND", "catalogue", tmp_path / f"c.{suffix}")
        assert contents("SECOND") == contents("FIRST")
        transaction.set_rollback(True)


def test_contents_sees_every_column_of_an_item():
    with scopes_disabled():
        assert len(ITEM_FIELDS) == 13
