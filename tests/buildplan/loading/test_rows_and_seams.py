"""rows and seams: the tables of a plan that netting expands."""

from fractions import Fraction

import pytest
from django_scopes import scopes_disabled

from buildplan.models import RivetRow, Seam
from tests import loads
from tests.loads import load, loaded

ROWS = "STEP,ROW,RIVET,HOLES,grip,cleco_every,clecos_until"
SEAMS = "STEP,SEAM,SEALANT,SHAPE,length,unit,leg_a,leg_b,thickness,size_unit,count,grams_each,loss_percent"


@pytest.fixture
def catalogue(workshop, bench, file):
    """A rivet of 1/8 in with its twin code, its cleco, a sealant with a gravity and one without, a part."""
    file(
        "items.csv",
        "ITEM,NAME,KIND,UNIT,identifiers,diameter,gravity",
        "MS20470AD4-6,rivet,rivet,ea,AN470AD4-6,1/8,",
        "MS20426AD3-3.5,rivet,rivet,ea,,,",
        "CLECO-4,cleco,cleco,ea,,0.125,",
        "SEAL-B2,sealant,sealant,g,,,1.55",
        "SEAL-X,sealant,sealant,g,,,",
        "SEAL-ML,sealant,sealant,ml,,,1.55",
        "FLT.140,angle,part,m,,,",
    )


@pytest.fixture
def plan(catalogue, file, tmp_path):
    """Writes a plan of two steps with these rows and seams."""
    loaded("catalogue", tmp_path / "items.csv")

    def write(*, rows=(), seams=(), rows_columns=ROWS):
        path = tmp_path / "plan"
        loads.table(path / "steps.csv", loads.STEPS, "F1-01,Floats,Drill", "F1-02,Floats,Rivet")
        for name, columns, lines in (("rows", rows_columns, rows), ("seams", SEAMS, seams)):
            if lines:
                loads.table(path / f"{name}.csv", columns, *lines)
        return path

    return write


def into(path):
    return loaded("plan", path, "--project", "TERN-1")


def refused(path):
    before = loads.row_counts()
    found = load("plan", path, "--project", "TERN-1")
    assert found.code == 1
    assert loads.row_counts() == before
    return found.errors


def test_rows_keep_every_column(plan):
    found = into(plan(rows=["f1-01,R1,an470ad4-6,84,0.064,3,F1-02", "F1-01,R2,MS20426AD3-3.5,10,1/8,,"]))
    assert found.loaded["rows"] == 2
    first, second = RivetRow.objects.order_by("position").select_related("rivet", "cleco", "clecos_until", "step")
    assert (first.step.code, first.code, first.rivet.code, first.holes) == ("F1-01", "R1", "MS20470AD4-6", 84)
    assert (first.grip, first.cleco_every, first.cleco.code, first.clecos_until.code) == (Fraction(8, 125), 3, "CLECO-4", "F1-02")
    assert (second.grip, second.cleco_every, second.cleco, second.clecos_until) == (Fraction(1, 8), None, None, None)


def test_rows_again_update_in_place_and_say_what_is_gone(plan):
    into(plan(rows=["F1-01,R1,MS20470AD4-6,84,,,", "F1-01,R2,MS20470AD4-6,10,,,"]))
    kept = RivetRow.objects.get(code="R1").pk
    found = into(plan(rows=["F1-01,r1,MS20470AD4-6,90,,,"]))
    assert RivetRow.objects.get().pk == kept
    assert RivetRow.objects.get().holes == 90
    assert found.warnings == ["rows.csv: row: no longer in the file, so removed: F1-01 R2"]
    assert [row.history_type for row in RivetRow.history.filter(code="R2").order_by("pk")] == ["+", "-"]


def test_plan_without_rows_leaves_them(plan, tmp_path):
    into(plan(rows=["F1-01,R1,MS20470AD4-6,84,,,"]))
    (tmp_path / "plan" / "rows.csv").unlink()
    into(tmp_path / "plan")
    assert RivetRow.objects.count() == 1


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("F9-99,R1,MS20470AD4-6,84,,,", "rows.csv:2: step: 'F9-99' is no step of this plan"),
        ("F1-01,,MS20470AD4-6,84,,,", "rows.csv:2: row: "),
        ("F1-01,R1,MS20470AD4-7,84,,,", "did you mean MS20470AD4-6?"),
        ("F1-01,R1,FLT.140,84,,,", "rows.csv:2: rivet: FLT.140 is of kind part: name a rivet"),
        ("F1-01,R1,MS20470AD4-6,0,,,", "rows.csv:2: holes: '0' is not from 1 to 1000000"),
        ("F1-01,R1,MS20470AD4-6,1000000000,,,", "rows.csv:2: holes: "),
        ("F1-01,R1,MS20470AD4-6,1.5,,,", "rows.csv:2: holes: '1.5' is no whole number"),
        ("F1-01,R1,MS20470AD4-6,84,0,,", "rows.csv:2: grip: '0' is zero"),
        ("F1-01,R1,MS20470AD4-6,84,-0.1,,", "rows.csv:2: grip: '-0.1' is negative"),
        ("F1-01,R1,MS20470AD4-6,84,120,,", "rows.csv:2: grip: '120' is past 100: check its unit"),
        ("F1-01,R1,MS20470AD4-6,84,,0,", "rows.csv:2: cleco_every: '0' is not from 1"),
        ("F1-01,R1,MS20470AD4-6,84,,3,F9-99", "rows.csv:2: clecos_until: 'F9-99' is no step of this plan"),
        ("F1-01,R1,MS20426AD3-3.5,84,,3,", "rows.csv:2: cleco_every: no cleco of 3/32 in is in the catalogue"),
    ],
)
def test_bad_row_is_refused_with_its_cell(plan, line, fault):
    [error] = refused(plan(rows=[line]))
    assert fault in error


def test_row_with_two_clecos_of_its_size_is_refused(plan, file):
    loaded("catalogue", file("more.csv", "ITEM,NAME,KIND,UNIT,diameter", "CLECO-4S,side clamp,cleco,ea,1/8"))
    [error] = refused(plan(rows=["F1-01,R1,MS20470AD4-6,84,,3,"]))
    assert "several clecos are of 1/8 in (CLECO-4, CLECO-4S)" in error


def test_same_row_twice_is_refused(plan):
    [error] = refused(plan(rows=["F1-01,R1,MS20470AD4-6,84,,,", "F1-01,r1,MS20470AD4-6,10,,,"]))
    assert error.startswith("rows.csv:3: row: 'r1' of F1-01 is already on rows.csv:2")


def test_all_bad_rows_are_told_at_once(plan):
    errors = refused(plan(rows=["F1-01,R1,MS20470AD4-6,0,0,,", "F9-99,R2,NOPE,84,,,"], seams=["F1-01,S1,SEAL-B2,round,1,m,6,6,,mm,,,"]))
    assert len(errors) == 5


def test_seams_keep_every_column(plan):
    found = into(plan(seams=["F1-02,S1,SEAL-B2,triangle,1.5,ft,1/4,0.25,,in,2,,15", "F1-02,S2,SEAL-X,each,,,,,,,3,2.5,"]))
    assert found.loaded["seams"] == 2
    first, second = Seam.objects.order_by("position").select_related("sealant", "step")
    assert (first.step.code, first.code, first.sealant.code, first.shape) == ("F1-02", "S1", "SEAL-B2", "triangle")
    assert (first.length, first.unit, first.leg_a, first.leg_b, first.thickness) == (
        Fraction(3, 2),
        "ft",
        Fraction(1, 4),
        Fraction(1, 4),
        None,
    )
    assert (first.size_unit, first.count, first.grams_each, first.loss_percent) == ("in", 2, None, 15)
    assert (second.shape, second.count, second.grams_each, second.loss_percent) == ("each", 3, Fraction(5, 2), 0)


def test_seams_again_update_in_place_and_say_what_is_gone(plan):
    into(plan(seams=["F1-02,S1,SEAL-B2,triangle,1,m,6,6,,mm,,,", "F1-02,S2,SEAL-X,each,,,,,,,3,2.5,"]))
    kept = Seam.objects.get(code="S1").pk
    found = into(plan(seams=["F1-02,S1,SEAL-B2,concave,1,m,6,,,mm,,,"]))
    assert (Seam.objects.get().pk, Seam.objects.get().shape, Seam.objects.get().leg_b) == (kept, "concave", None)
    assert found.warnings == ["seams.csv: seam: no longer in the file, so removed: F1-02 S2"]


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("F9-99,S1,SEAL-B2,triangle,1,m,6,6,,mm,,,", "seams.csv:2: step: 'F9-99' is no step of this plan"),
        ("F1-01,S1,FLT.140,triangle,1,m,6,6,,mm,,,", "seams.csv:2: sealant: FLT.140 is of kind part: name a sealant"),
        ("F1-01,S1,SEAL-B2,heart,1,m,6,6,,mm,,,", "seams.csv:2: shape: 'heart' is unknown"),
        ("F1-01,S1,SEAL-B2,triangle,1,m,6,,,mm,,,", "seams.csv:2: leg_b: triangle needs it"),
        ("F1-01,S1,SEAL-B2,concave,1,m,6,6,,mm,,,", "seams.csv:2: leg_b: concave has none: is the shape right?"),
        ("F1-01,S1,SEAL-B2,triangle,0,m,6,6,,mm,,,", "seams.csv:2: length: '0' is zero"),
        ("F1-01,S1,SEAL-B2,triangle,1,g,6,6,,mm,,,", "seams.csv:2: unit: g is a mass, mm a length"),
        ("F1-01,S1,SEAL-B2,triangle,1,m,6,6,,furlongs per fortnight,,,", "seams.csv:2: size_unit: "),
        ("F1-01,S1,SEAL-B2,triangle,1,m,6,6,,mm,0,,", "seams.csv:2: count: '0' is not from 1"),
        ("F1-01,S1,SEAL-B2,triangle,1,m,6,6,,mm,,,-5", "seams.csv:2: loss_percent: '-5' is negative"),
        ("F1-01,S1,SEAL-B2,each,,,,,,,,,", "seams.csv:2: grams_each: a seam counted by the piece needs it"),
        (
            "F1-01,S1,SEAL-X,triangle,1,m,6,6,,mm,,,",
            "seams.csv:2: sealant: the specific gravity of SEAL-X is not known: read it off the data",
        ),
        ("F1-01,S1,SEAL-ML,triangle,1,m,6,6,,mm,,,", "seams.csv:2: sealant: SEAL-ML is counted in ml: g is a mass, ml a volume"),
        ("F1-01,S1,SEAL-B2,triangle,1,nm,1/999999999,1/999999999,,nm,,,", "seams.csv:2: sealant: "),
    ],
)
def test_bad_seam_is_refused_with_its_cell(plan, line, fault):
    [error] = refused(plan(seams=[line]))
    assert fault in error


def test_same_seam_twice_is_refused(plan):
    line = "SEAL-B2,triangle,1,m,6,6,,mm,,,"
    [error] = refused(plan(seams=[f"F1-01,S1,{line}", f"F1-01,s1,{line}"]))
    assert error.startswith("seams.csv:3: seam: 's1' of F1-01 is already on seams.csv:2")


@pytest.mark.parametrize("name", ["out", "out.xlsx"])
def test_export_of_rows_and_seams_loads_back_equal(plan, file, tmp_path, name):
    rows = ["F1-01,R1,MS20470AD4-6,84,0.064,3,F1-02", "F1-01,R2,MS20470AD4-6,10,1/8,,"]
    seams = ["F1-02,S1,SEAL-B2,triangle,1.5,ft,1/4,0.25,,in,2,,15", "F1-02,S2,SEAL-X,each,,,,,,,3,2.5,"]
    into(plan(rows=rows, seams=seams))
    found = loads.run("export", "plan", tmp_path / name, "--workshop", "MARSH", "--project", "TERN-1")
    assert found.code == 0
    loaded("catalogue", tmp_path / "items.csv", workshop="COPY")
    loaded("plan", tmp_path / name, "--project", "TERN-1", workshop="COPY")
    with scopes_disabled():
        for model, columns in (
            (RivetRow, "step__code code position rivet__code holes grip cleco_every cleco__code clecos_until__code"),
            (
                Seam,
                "step__code code position sealant__code shape length unit leg_a leg_b thickness size_unit count grams_each loss_percent",
            ),
        ):
            ours, copy = (
                list(model.objects.filter(workshop__code=code).order_by("position").values_list(*columns.split()))
                for code in ("MARSH", "COPY")
            )
            assert ours
            assert ours == copy


def test_shortfall_nets_what_rows_and_seams_take(plan):
    into(plan(rows=["F1-01,R1,MS20470AD4-6,84,0.064,3,F1-02"], seams=["F1-02,S1,SEAL-B2,triangle,1,m,6,6,,mm,,,"]))
    lines = loads.run("shortfall", "--project", "TERN-1", "--workshop", "MARSH", "--json").json["lines"]
    assert {line["item"]: line["needed"] for line in lines} == {"MS20470AD4-6": "84", "CLECO-4": "29", "SEAL-B2": "27.9"}
    assert {reason["source"] for line in lines for reason in line["trace"]} >= {"row R1", "seam S1"}
