"""blanks.csv and pieces.csv: read, told what is wrong with them, and written so that they load back equal."""

from fractions import Fraction

import pytest

from buildplan.cutting import services
from buildplan.cutting.models import Blank, Piece
from buildplan.loading import export
from tests import factories, loads
from tests.loads import load, loaded

BLANKS = "BLANK,FORM,unit,length,width,thickness,grain,kerf,end_trim"
PIECES = "STEP,PIECE,BLANK,count,per_blank,cut,length,width,unit,allowance,grain,hand,item"
GOOD_BLANKS = ("SHEET-032,sheet,mm,900,600,0.8,length,0,0", "TUBE,bar,in,72,,,,1/8,")
GOOD_PIECES = (
    "F1-01,W-31,SHEET-032,2,4,RIBS,,,,,,left,RIB",
    "F1-02,W-31,SHEET-032,2,4,RIBS,,,,,,right,",
    "F1-02,DBL,SHEET-032,3,,,120,80,mm,0,width,,",
    "F1-02,R-1,TUBE,4,,,7 1,,,,,,",
)
pytestmark = pytest.mark.django_db


@pytest.fixture
def plan(workshop, bench, tmp_path):
    for code, kind in (("SHEET-032", "sheet"), ("TUBE", "other"), ("RIB", "part")):
        factories.ItemFactory(workshop=workshop, code=code, kind=kind)

    def write(blanks=(), pieces=(), *, blank_columns=BLANKS, piece_columns=PIECES):
        path = tmp_path / "plan"
        loads.table(path / "steps.csv", loads.STEPS, "F1-01,Floats,Drill", "F1-02,Floats,Rivet")
        for name, columns, lines in (("blanks", blank_columns, blanks), ("pieces", piece_columns, pieces)):
            (path / f"{name}.csv").unlink(missing_ok=True)
            if lines:
                loads.table(path / f"{name}.csv", columns, *lines)
        return path

    return write


def into(path):
    return loaded("plan", path, "--project", "TERN-1")


def contents():
    pieces = [
        "step__code",
        "code",
        "blank__item__code",
        "count",
        "per_blank",
        "cut",
        "length",
        "width",
        "unit",
        "allowance",
        "grain",
        "hand",
        "item__code",
        "position",
    ]
    blanks = ["item__code", "form", "unit", "length", "width", "thickness", "grain", "kerf", "end_trim", "offcut__code"]
    return (
        list(Piece.objects.order_by("position").values_list(*pieces)),
        list(Blank.objects.order_by("item__code").values_list(*blanks)),
    )


def test_files_load_export_and_load_back_equal(plan, tmp_path, workshop, owner):
    good = (*GOOD_PIECES[:3], "F1-02,R-1,TUBE,4,,,7 1".replace("7 1", "7.5") + ",,in,,,,")
    found = into(plan(GOOD_BLANKS, good))
    assert (found.loaded["blanks"], found.loaded["pieces"]) == (2, 4)
    before = contents()
    assert before[0][2][:10] == ("F1-02", "DBL", "SHEET-032", 3, None, "", Fraction(120), Fraction(80), "mm", Fraction(0))
    project = Piece.objects.first().step.project
    for path in (tmp_path / "out", tmp_path / "out.xlsx"):
        export.export_plan(path, project)
        Piece.objects.all().delete()
        Blank.objects.filter(item__code="TUBE").delete()
        into(path)
        assert contents() == before
    gone = into(plan(GOOD_BLANKS, good[:1]))
    assert any("no longer in the file, so removed: F1-02 W-31" in warning for warning in gone.warnings)


def test_everything_wrong_is_told_at_once(plan):
    blanks = ("SHEET-032,round,mm,900,600,,,,", "TUBE,bar,mm,900,600,,,,", "TUBES,bar,mm,900,,,,,", "RIB,sheet,mm,900,600,,,x,")
    pieces = (
        "F1-01,W-31,SHEET-032,2,,,950,80,mm,,,,",
        "F1-01,W-32,RIB,2,4,,,,,,,,",
        "F1-09,W-33,SHEET-032,2,4,,,,,,,,",
        "F1-02,W-34,SHEET-032,0,4,,,,,,,,",
        "F1-02,W-35,SHEET-032,1,4,,,,,,lenght,,",
        "F1-02,W-36,SHEET-032,1,4,,,,,,,,",
        "f1-02,w-36,SHEET-032,1,4,,,,,,,,",
    )
    before = loads.row_counts()
    found = load("plan", plan(blanks, pieces), "--project", "TERN-1")
    assert found.code == 1
    assert loads.row_counts() == before
    for text in [
        "blanks.csv:2: form: 'round' is unknown",
        "blanks.csv:3: width: a bar is cut along its length alone",
        "blanks.csv:4: blank: 'TUBES' is no code of the catalogue: did you mean TUBE?",
        "blanks.csv:5: kerf: 'x' is no number",
        "pieces.csv:2: blank: SHEET-032 is no blank here",
        "pieces.csv:3: blank: RIB is no blank here",
        "pieces.csv:4: step: 'F1-09' is no step of this plan",
        "pieces.csv:5: count: '0' is not from 1 to 100000",
        "pieces.csv:6: grain: 'lenght' is unknown: did you mean length?",
    ]:
        assert any(text in error.replace('"', "'") for error in found.errors), (text, found.errors)


def test_too_large_a_piece_and_an_unknown_column_are_named(plan):
    wide = load("plan", plan(GOOD_BLANKS, ("F1-01,W-31,SHEET-032,2,,,950,80,mm,,,,",)), "--project", "TERN-1")
    assert wide.errors == ["pieces.csv:2: length: this is larger than a whole SHEET-032: check the sizes and their unit"]
    named = load("plan", plan(GOOD_BLANKS, ("F1-01,W-31,SHEET-032,4",), piece_columns="STEP,PIECE,BLANK,per_blanck"), "--project", "TERN-1")
    assert any("per_blanck: no such column: did you mean per_blank?" in error for error in named.errors)


def test_step_with_a_planned_cut_is_not_removed_by_a_load(plan, bench, drawer, owner):
    into(plan(GOOD_BLANKS[:1], GOOD_PIECES[:2]))
    blank, piece = Blank.objects.get(), Piece.objects.select_related("step__project__bench").get(step__code="F1-02")
    lot = factories.LotFactory(bench=piece.step.project.bench, item=blank.item)
    factories.stock(lot, 1, drawer)
    services.plan_cut(blank=blank, lot=lot, now={piece: 1}, later={}, key="00000000-0000-0000-0000-000000000001", by=owner, accept=True)
    path = plan()
    loads.table(path / "steps.csv", loads.STEPS, "F1-01,Floats,Drill")
    found = load("plan", path, "--project", "TERN-1", "--remove-missing")
    assert any("F1-02" in error and "can't be removed" in error for error in found.errors)
