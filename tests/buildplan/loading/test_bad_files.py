"""Files that can't be loaded: each is refused in words that name file, row and column, and nothing at all is written."""

import pytest
from openpyxl import load_workbook

from inventory.models import Holding
from tests import loads
from tests.loads import load, run

pytestmark = pytest.mark.usefixtures("catalogue")

HEADER = "ITEM,QUANTITY,unit,PLACE"


def refusal(path, kind="stock"):
    """The one error, once it is sure that nothing was written, and that a person reads the same as a program."""
    before = loads.row_counts()
    found = load(kind, path)
    [error] = found.errors
    assert (found.code, found.loaded) == (1, {})
    told = run("load", kind, path, "--workshop", "MARSH")
    assert (told.code, told.out) == (1, "")
    assert told.err.splitlines() == [error, "nothing was loaded"]
    assert loads.row_counts() == before
    return error


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("MS20470AD4-7,5,,Rack", "item: 'MS20470AD4-7' is no code of the catalogue: did you mean MS20470AD4-6?"),
        ("ZZZ,5,,Rack", "item: 'ZZZ' is no code of the catalogue: add it there"),
        ("OUTSIDE-ITEM,5,,Rack", "item: 'OUTSIDE-ITEM' is no code of the catalogue: add it there"),
        ("SEAL-B2,5,gramms,Rack", "unit: 'gramms' is no known unit: did you mean gram?"),
        ("MS20470AD4-6,5,g,Rack", "unit: g is a mass, ea a count"),
        ("FLT.140,5,kg,Rack", "unit: kg is a mass, m a length"),
        ("SEAL-B2,-5,,Rack", "quantity: '-5' is negative"),
        ("SEAL-B2,0,,Rack", "quantity: '0' is zero"),
        ("SEAL-B2,0.000,,Rack", "quantity: '0.000' is zero"),
        ("SEAL-B2,NaN,,Rack", "quantity: 'NaN' is no number"),
        ("SEAL-B2,Infinity,,Rack", "quantity: 'Infinity' is no number"),
        ("SEAL-B2,1e3,,Rack", "quantity: '1e3' has an exponent"),
        ("SEAL-B2,1000000000001,,Rack", "quantity: '1000000000001' is past 10^12"),
        ("SEAL-B2,1000000000000,kg,Rack", "quantity: 1000000000000 kg is past 10^12 g"),
        ("SEAL-B2,,,Rack", "quantity: blank"),
        (",5,,Rack", "item: blank"),
        ("SEAL-B2,5,,", "place: blank"),
        ('SEAL-B2,"5,5",,Rack', "quantity: '5,5' has a comma"),
    ],
)
def test_a_bad_cell(file, row, told):
    assert refusal(file("stock.csv", HEADER, row)).startswith(f"stock.csv:2: {told}")


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("2027-02-30,", "expires: '2027-02-30' is no day of the calendar"),
        ("2027-13,", "expires: '2027-13' is no date"),
        (",2027-02-30", "opened: '2027-02-30' is no day of the calendar"),
        ("tomorrow,", "expires: 'tomorrow' is no date"),
    ],
)
def test_a_bad_date(file, row, told):
    assert refusal(file("stock.csv", f"{loads.STOCK},expires,opened", f"SEAL-B2,5,Rack,{row}")).startswith(f"stock.csv:2: {told}")


def test_a_bad_state(file):
    told = "stock.csv:2: state: 'goood' is unknown: did you mean good?"
    assert refusal(file("stock.csv", f"{loads.STOCK},state", "SEAL-B2,5,Rack,goood")) == told


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "stock.csv:1: empty"),
        (b"SEAL-B2,5,,Rack\n", "stock.csv:1: no header"),
        (b"ITEM,QUANTITY,PLACE\n", "stock.csv:1: a header alone"),
        (b"ITEM,QUANTITY,PLACE\n\n,,\n", "stock.csv:1: a header alone"),
        (b"ITEM,QUANTITY\nSEAL-B2,5\n", "stock.csv:1: place: this column is missing"),
        (b"ITEM,QUANTITY,PLACE,plaice\nSEAL-B2,5,Rack,\n", "stock.csv:1: plaice: no such column: did you mean place?"),
        (b"ITEM,QUANTITY,PLACE,item\nSEAL-B2,5,Rack,\n", "stock.csv:1: item: this column stands twice"),
        (b"ITEM,QUANTITY,PLACE\nSEAL-B2,5\n", "stock.csv:2: too short: 2 cells where the header has 3"),
        (b"ITEM,QUANTITY,PLACE\nSEAL-B2,5,Rack,good\n", "stock.csv:2: too long: 4 cells where the header has 3"),
        (b"ITEM,QUANTITY,PLACE\nSEAL-B2,5,Ra\0ck\n", "stock.csv:2: holds a NUL byte"),
        (b'ITEM,QUANTITY,PLACE\nSEAL-B2,5,"Rack\n', 'stock.csv:2: a quote (") opens in this row and never closes'),
        ("ITEM,QUANTITY,PLACE\n".encode("utf-16"), "stock.csv:1: is in UTF-16"),
        (b"ITEM;QUANTITY;PLACE\nSEAL-B2;1.000;Rack\n", "stock.csv:2: quantity: '1.000' can be read two ways"),
    ],
)
def test_a_bad_file(file, content, told):
    assert refusal(file("stock.csv", content)).startswith(told)


def book_with(path, cell):
    """A workbook whose quantity is the XML of `cell`: the library that writes workbooks stores no values of formulas."""
    loads.book(path, stock=[loads.STOCK, "SEAL-B2,,Rack"])
    workbook = load_workbook(path)
    workbook["stock"]["B2"] = 6
    workbook.save(path)
    loads.replace_in_sheet(path, b'<c r="B2" t="n"><v>6</v></c>', cell)
    return path


def test_a_formula_with_an_error(tmp_path):
    path = book_with(tmp_path / "b.xlsx", b'<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v></c>')
    assert refusal(path).startswith("b.xlsx:stock:2: quantity: cell B2 holds the error #DIV/0!")


def test_a_formula_without_a_stored_value(tmp_path):
    path = book_with(tmp_path / "b.xlsx", b'<c r="B2"><f>2*3</f></c>')
    assert refusal(path).startswith("b.xlsx:stock:2: quantity: cell B2 holds a formula without a stored value")


def test_a_formula_with_its_stored_value_is_good(tmp_path):
    path = book_with(tmp_path / "b.xlsx", b'<c r="B2"><f>2*3</f><v>6</v></c>')
    assert load("stock", path).loaded["movements"] == 1


@pytest.mark.parametrize(
    ("content", "name", "told"),
    [
        (b"PK\x03\x04 no workbook", "stock.xlsx", "stock.xlsx: is no XLSX workbook"),
        (b"ITEM", "stock.txt", "stock.txt: is neither .csv nor .xlsx"),
        (b"PK\x03\x04", "stock.csv", "stock.csv:1: is an XLSX workbook by its content"),
    ],
)
def test_a_file_of_another_kind(file, content, name, told):
    assert refusal(file(name, content)).startswith(told)


def test_a_book_without_the_sheet(tmp_path):
    found = load("stock", loads.book(tmp_path / "b.xlsx", stocks=[loads.STOCK, "SEAL-B2,5,Rack"]))
    assert found.errors == ["b.xlsx: sheet stock: missing: add it, or give one of the others this name"]
    assert found.warnings == ["b.xlsx: sheet stocks: ignored: did you mean stock?"]


def test_a_folder_where_a_file_is_meant(tmp_path):
    assert refusal(tmp_path).endswith(": is a folder: name the file of the stock itself")


def test_every_bad_row_is_told_at_once_in_the_order_of_the_file(file):
    rows = "NOPE,5,,Rack", "SEAL-B2,0,oz,", "", "SEAL-B2,5,furlong,Rack", "SEAL-B2,5"
    found = load("stock", file("stock.csv", HEADER, *rows))
    assert [error.split(": ")[:2] for error in found.errors] == [
        ["stock.csv:2", "item"],
        ["stock.csv:3", "quantity"],
        ["stock.csv:3", "place"],
        ["stock.csv:5", "unit"],
        ["stock.csv:6", "too short"],
    ]


def test_very_many_bad_rows_are_counted(file):
    found = load("stock", file("stock.csv", HEADER, *["NOPE,5,,Rack"] * 1000))
    assert len(found.errors) == 201
    assert found.errors[-1] == "and 800 more errors: mend these first"


@pytest.mark.parametrize(
    ("content", "quantity"),
    [
        (b"ITEM,QUANTITY,PLACE\r\n\r\nSEAL-B2,5,Rack\r\n,,\r\n", 5),
        (b"item;Place;QUANTITY\nSEAL-B2;Rack;1,5\n", 1.5),
        (b"\xef\xbb\xbfITEM,QUANTITY,PLACE\nSEAL-B2,5,Rack", 5),
        (b"ITEM,QUANTITY,PLACE\n seal-b2 , 5 , Rack \n", 5),
        (b'ITEM,QUANTITY,PLACE\n"SEAL-B2","5","Rack"\n', 5),
    ],
)
def test_an_odd_file_is_good(file, content, quantity):
    assert load("stock", file("stock.csv", content)).code == 0
    assert Holding.objects.values_list("place__path", "quantity").get() == ("Rack", quantity)


def test_a_file_in_windows_1252_is_good_with_a_warning(file):
    found = load("stock", file("stock.csv", "ITEM,QUANTITY,PLACE\nSEAL-B2,5,Küche\n".encode("cp1252")))
    assert found.code == 0
    [warning] = found.warnings
    assert "Windows-1252" in warning
