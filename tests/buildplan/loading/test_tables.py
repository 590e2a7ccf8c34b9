import csv
import tracemalloc
import zipfile
from datetime import date, datetime, time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from buildplan.loading.columns import Columns
from buildplan.loading.tables import COLUMNS, KINDS, NoSuchPath, Problems, Row, Table, near, open_tables
from buildplan.loading.xlsx_tables import number_text

STOCK = "item,quantity,place\n"
GOOD_ROW = "MS20470AD4-6,200,Hangar / Rack\n"


@pytest.fixture
def problems():
    return Problems()


@pytest.fixture
def csv_file(tmp_path):
    def write(content: str | bytes, name: str = "stock.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return write


@pytest.fixture
def book(tmp_path):
    def write(sheets: dict[str, list[list]], name: str = "book.xlsx") -> Path:
        workbook = Workbook()
        workbook.remove(workbook.active)
        for title, rows in sheets.items():
            sheet = workbook.create_sheet(title)
            for row in rows:
                sheet.append(row)
        path = tmp_path / name
        workbook.save(path)
        return path

    return write


def read(path: Path, problems: Problems, kind: str = "stock") -> list[Row]:
    """Every row of every table, in order."""
    return [row for table in open_tables(path, kind, problems).values() for row in table.rows()]


def errors_of(path: Path, kind: str = "stock") -> list[str]:
    problems = Problems()
    read(path, problems, kind)
    return problems.errors


def only_error(path: Path, kind: str = "stock") -> str:
    [error] = errors_of(path, kind)
    return error


def stock(*rows: list) -> dict[str, list[list]]:
    return {"stock": [["item", "quantity", "place"], *rows]}


def replace_in_sheet(path: Path, old: bytes, new: bytes) -> None:
    """Change the first sheet's XML where the library that writes workbooks cannot."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    assert old in parts[sheet]
    parts[sheet] = parts[sheet].replace(old, new)
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


class TestPinnedColumns:
    def test_required_ones_are_those_in_capitals(self):
        assert Columns.of("ITEM QUANTITY unit") == Columns(("item", "quantity"), ("unit",))

    @pytest.mark.parametrize(
        ("table", "required"),
        [
            ("catalogue", "item name kind unit"),
            ("stock", "item quantity place"),
            ("packing", "bag line item quantity"),
            ("steps", "step section title"),
            ("needs", "step item quantity"),
            ("rows", "step row rivet holes"),
            ("seams", "step seam sealant shape"),
            ("blanks", "blank form"),
            ("pieces", "step piece blank"),
        ],
    )
    def test_required_columns(self, table, required):
        assert COLUMNS[table].required == tuple(required.split())

    @pytest.mark.parametrize(
        ("table", "optional"),
        [
            ("catalogue", "identifiers pack lead_days life_months open_life_days min_life_days diameter gravity base accelerator"),
            ("stock", "unit lot made expires opened state"),
            ("packing", "name unit lot made expires"),
            ("steps", "planned after minutes done hand"),
            ("needs", "unit"),
            ("rows", "grip cleco_every clecos_until"),
            ("seams", "length unit leg_a leg_b thickness size_unit count grams_each loss_percent"),
            ("blanks", "unit length width thickness grain kerf end_trim"),
            ("pieces", "count per_blank cut length width unit allowance grain hand item"),
        ],
    )
    def test_optional_columns(self, table, optional):
        assert COLUMNS[table].optional == tuple(optional.split())

    def test_every_kind_is_made_of_known_tables(self):
        assert {name for names in KINDS.values() for name in names} == set(COLUMNS)


class TestCsvRows:
    def test_row_has_its_cells_by_lower_case_name(self, csv_file, problems):
        [row] = read(csv_file(STOCK + GOOD_ROW), problems)

        assert row.where == "stock.csv:2"
        assert row.cells == {"item": "MS20470AD4-6", "quantity": "200", "place": "Hangar / Rack"}
        assert problems.errors == problems.warnings == []

    def test_message_names_row_and_column(self):
        row = Row("stock.csv:3", {}, decimal_comma=False)

        assert row.error("quantity", "is zero") == "stock.csv:3: quantity: is zero"

    def test_absent_optional_column_reads_as_blank(self, csv_file, problems):
        path = csv_file(STOCK + GOOD_ROW)
        table = open_tables(path, "stock", problems)["stock"]
        [row] = table.rows()

        assert row["lot"] == ""
        assert table.columns == {"item", "quantity", "place"}

    def test_header_in_any_case_and_order(self, csv_file, problems):
        [row] = read(csv_file(" Place ,QUANTITY,Item\nDrawer,5,K1000-06\n"), problems)

        assert (row["item"], row["quantity"], row["place"]) == ("K1000-06", "5", "Drawer")

    def test_any_file_name_will_do(self, csv_file, problems):
        [row] = read(csv_file(STOCK + GOOD_ROW, "my shelf.CSV"), problems)

        assert row.where == "my shelf.CSV:2"

    def test_cells_are_trimmed(self, csv_file, problems):
        [row] = read(csv_file(STOCK + " A , 5 ,\u00a0Drawer\t\n"), problems)

        assert row.cells == {"item": "A", "quantity": "5", "place": "Drawer"}

    def test_separator_that_belongs_to_a_code_is_kept(self, csv_file, problems):
        [row] = read(csv_file(STOCK + "10ABC\x1d,5,Drawer\n"), problems)

        assert row["item"] == "10ABC\x1d"

    @pytest.mark.parametrize("blank", ["\n", "  \n", ",,\n", ",\n", " , ,\n"])
    def test_wholly_blank_line_is_skipped_but_counted(self, csv_file, problems, blank):
        rows = read(csv_file(STOCK + GOOD_ROW + blank + GOOD_ROW), problems)

        assert [row.where for row in rows] == ["stock.csv:2", "stock.csv:4"]
        assert problems.errors == []

    @pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
    def test_line_ends(self, csv_file, problems, end):
        content = (STOCK + GOOD_ROW + "\n" + GOOD_ROW).replace("\n", end)

        assert [row.where for row in read(csv_file(content), problems)] == ["stock.csv:2", "stock.csv:4"]

    def test_last_line_without_an_end(self, csv_file, problems):
        assert len(read(csv_file(STOCK + GOOD_ROW.rstrip()), problems)) == 1

    def test_row_after_a_cell_of_several_lines_has_the_line_it_starts_on(self, csv_file, problems):
        rows = read(csv_file(STOCK + 'A,5,"Rack\nDrawer"\nB,5,Rack\n'), problems)

        assert [(row.where, row["place"]) for row in rows] == [("stock.csv:2", "Rack\nDrawer"), ("stock.csv:4", "Rack")]

    def test_quoted_cells(self, csv_file, problems):
        [row] = read(csv_file(STOCK + '"1/8"" drill", "5","Rack, top"\n'), problems)

        assert (row["item"], row["quantity"], row["place"]) == ('1/8" drill', "5", "Rack, top")

    def test_inch_mark_within_an_unquoted_cell(self, csv_file, problems):
        [row] = read(csv_file(STOCK + '1/8" drill,5,Rack\n'), problems)

        assert row["item"] == '1/8" drill'


class TestDelimiter:
    def test_semicolon_allows_a_decimal_comma(self, csv_file, problems):
        [row] = read(csv_file("item;quantity;place\nA;1,5;Rack\n"), problems)

        assert (row["quantity"], row.decimal_comma) == ("1,5", True)

    def test_comma_allows_none(self, csv_file, problems):
        [row] = read(csv_file(STOCK + 'A,"1,5",Rack\n'), problems)

        assert (row["quantity"], row.decimal_comma) == ("1,5", False)

    def test_is_read_from_the_header_alone(self, csv_file, problems):
        [row] = read(csv_file("step,section,title,after\nS2,F3,Skin,S0;S1;S3;S4\n", "steps.csv"), problems, "plan")

        assert row["after"] == "S0;S1;S3;S4"

    def test_quoted_delimiters_in_the_header_do_not_count(self, csv_file, problems):
        [row] = read(csv_file('item,quantity,place,";;;;;"\nA,5,Rack,\n'), problems)

        assert row["place"] == "Rack"
        assert problems.errors[0].startswith("stock.csv:1: ;;;;;: no such column: there are item, quantity,")

    def test_unquoted_semicolon_in_a_semicolon_file_is_a_row_too_long(self, csv_file):
        path = csv_file("step;section;title;after\nS2;F3;Skin;S0;S1\n", "steps.csv")

        assert only_error(path, "plan") == ('steps.csv:2: too long: 5 cells where the header has 4; put a cell that holds ";" in quotes')


class TestEncoding:
    def test_utf8(self, csv_file, problems):
        [row] = read(csv_file(STOCK + "A,5,Étagère\n"), problems)

        assert row["place"] == "Étagère"
        assert problems.warnings == []

    def test_byte_order_mark_is_dropped(self, csv_file, problems):
        [row] = read(csv_file(b"\xef\xbb\xbf" + (STOCK + GOOD_ROW).encode()), problems)

        assert row["item"] == "MS20470AD4-6"
        assert problems.errors == problems.warnings == []

    def test_windows_1252_is_read_with_a_warning(self, csv_file, problems):
        [row] = read(csv_file((STOCK + "A,5,Étagère €\n").encode("cp1252")), problems)

        assert row["place"] == "Étagère €"
        [warning] = problems.warnings
        assert warning.startswith("stock.csv: is not UTF-8, so it is read as Windows-1252: ")

    def test_neither_is_refused_at_its_row(self, csv_file):
        error = only_error(csv_file(STOCK.encode() + GOOD_ROW.encode() + b"A,5,\x81\n"))

        assert error.startswith("stock.csv:3: cannot be decoded, neither as UTF-8 nor as Windows-1252: ")

    def test_marked_as_utf8_but_is_not(self, csv_file):
        error = only_error(csv_file(b"\xef\xbb\xbf" + STOCK.encode() + b"A,5,\xe9\n"))

        assert error.startswith("stock.csv:2: is marked as UTF-8, but this row is not: ")

    def test_nul_byte_is_refused_at_its_row(self, csv_file):
        error = only_error(csv_file(STOCK + GOOD_ROW + "A,5,Ra\0ck\n"))

        assert error.startswith("stock.csv:3: holds a NUL byte")

    def test_nul_byte_after_a_byte_that_is_no_utf8(self, csv_file):
        error = only_error(csv_file(STOCK.encode() + b"A,5,\xe9\nB,5,\0\n"))

        assert error.startswith("stock.csv:3: holds a NUL byte")

    def test_utf16_is_named(self, csv_file):
        assert only_error(csv_file((STOCK + GOOD_ROW).encode("utf-16"))).startswith("stock.csv:1: is in UTF-16: save")

    def test_workbook_under_a_csv_name(self, book):
        path = book(stock(["A", 5, "Rack"]), "stock.csv")

        assert only_error(path) == "stock.csv:1: is an XLSX workbook by its content: give it a name that ends in .xlsx"


class TestHeaderFaults:
    def test_unknown_column_names_the_near_match(self, csv_file):
        errors = errors_of(csv_file("item,quantty,place\n" + GOOD_ROW))

        assert errors == [
            "stock.csv:1: quantty: no such column: did you mean quantity?",
            "stock.csv:1: quantity: this column is missing: add it",
        ]

    def test_unknown_column_without_a_near_match_lists_the_known(self, csv_file):
        error = only_error(csv_file("item,quantity,place,zzz\nA,5,Rack,x\n"))

        assert error.startswith("stock.csv:1: zzz: no such column: there are item, quantity, place, unit, lot,")

    def test_rows_are_still_read_beside_an_unknown_column(self, csv_file, problems):
        rows = read(csv_file("item,quantity,place,colour\nA,5,Rack,red\nB,5\n"), problems)

        assert [row["item"] for row in rows] == ["A"]
        assert len(problems.errors) == 2

    def test_duplicate_column(self, csv_file):
        error = only_error(csv_file("item,quantity,place,Item\nA,5,Rack,B\n"))

        assert error == "stock.csv:1: item: this column stands twice: keep one"

    def test_missing_column_gives_no_rows_but_still_finds_faults(self, csv_file, problems):
        assert read(csv_file("item,place\nA,Rack\nB\n"), problems) == []
        assert problems.errors == [
            "stock.csv:1: quantity: this column is missing: add it",
            "stock.csv:3: too short: 1 cells where the header has 2; keep the delimiters of empty cells",
        ]

    @pytest.mark.parametrize("content", ["", "\ufeff"])
    def test_empty_file(self, csv_file, content):
        assert only_error(csv_file(content)) == "stock.csv:1: empty: row 1 must name the columns"

    @pytest.mark.parametrize("content", ["\n\n", "\n" + STOCK + GOOD_ROW, ",,\n" + GOOD_ROW])
    def test_first_row_blank(self, csv_file, content):
        assert only_error(csv_file(content)) == "stock.csv:1: no header: row 1 is blank, and must name the columns"

    def test_data_where_the_header_should_be(self, csv_file):
        error = only_error(csv_file(GOOD_ROW + GOOD_ROW))

        assert error == "stock.csv:1: no header: row 1 must name the columns, at least item, quantity, place"

    @pytest.mark.parametrize("content", [STOCK, STOCK + "\n\n", STOCK + ",,\n"])
    def test_header_alone(self, csv_file, content):
        assert only_error(csv_file(content)) == "stock.csv:1: a header alone: add rows below it, or leave out the stock"

    def test_unclosed_quote_in_the_header(self, csv_file):
        assert only_error(csv_file('item,"quantity,place\n' + GOOD_ROW)).startswith("stock.csv:1: a quote")

    def test_title_with_a_line_break_stays_on_one_line(self, csv_file):
        error = only_error(csv_file('item,quantity,place,"a\nb"\nA,5,Rack,x\n'))

        assert error.startswith(r"stock.csv:1: 'a\nb': no such column: ")


class TestRaggedRows:
    def test_row_too_short(self, csv_file):
        error = only_error(csv_file(STOCK + GOOD_ROW + "A,5\n"))

        assert error == "stock.csv:3: too short: 2 cells where the header has 3; keep the delimiters of empty cells"

    def test_row_too_long(self, csv_file):
        error = only_error(csv_file(STOCK + "A,1,500,Rack\n"))

        assert error == 'stock.csv:2: too long: 4 cells where the header has 3; put a cell that holds "," in quotes'

    def test_every_bad_row_is_reported_and_the_good_ones_read(self, csv_file, problems):
        rows = read(csv_file(STOCK + "A\n" + GOOD_ROW + "A,1,2,3\n" + GOOD_ROW + "B,5\n"), problems)

        assert [row.where for row in rows] == ["stock.csv:3", "stock.csv:5"]
        assert [error.split(": ")[0] for error in problems.errors] == ["stock.csv:2", "stock.csv:4", "stock.csv:6"]

    def test_columns_without_title_or_value_are_let_pass(self, csv_file, problems):
        assert len(read(csv_file("item,quantity,place,,\nA,5,Rack,,\n"), problems)) == 1
        assert problems.errors == []

    def test_value_in_a_column_without_title(self, csv_file):
        error = only_error(csv_file("item,quantity,place,,\nA,5,Rack,,loose\n"))

        assert error == "stock.csv:2: column E: 'loose' stands under no name: name the column, or empty the cell"

    def test_unclosed_quote_is_named_where_it_opens(self, csv_file, problems):
        rows = read(csv_file(STOCK + GOOD_ROW + 'A,5,"Rack\n' + GOOD_ROW), problems)

        assert len(rows) == 1
        assert problems.errors == [
            'stock.csv:3: a quote (") opens in this row and never closes: close it, or write it twice ("") inside quotes'
        ]

    def test_text_after_a_closing_quote_spoils_one_row_alone(self, csv_file, problems):
        rows = read(csv_file(STOCK + 'A,5,"top" rack\n' + GOOD_ROW), problems)

        assert [row.where for row in rows] == ["stock.csv:3"]
        assert problems.errors[0].startswith("stock.csv:2: text follows a closing quote")

    def test_endless_cell(self, csv_file):
        errors = errors_of(csv_file(STOCK + f'A,5,"{"x" * csv.field_size_limit()}x"\n' + GOOD_ROW))

        assert errors == [f'stock.csv:2: a cell over {csv.field_size_limit()} characters: look for a quote (") that never closes']


class TestXlsx:
    def test_row_names_book_and_sheet(self, book, problems):
        rows = read(book(stock(["A", 5, "Rack"], [None, None, None], ["B", 6, "Rack"])), problems)

        assert [row.where for row in rows] == ["book.xlsx:stock:2", "book.xlsx:stock:4"]
        assert rows[0].cells == {"item": "A", "quantity": "5", "place": "Rack"}
        assert not rows[0].decimal_comma
        assert problems.errors == problems.warnings == []

    @pytest.mark.parametrize(
        ("value", "text"),
        [
            (12, "12"),
            (12.0, "12"),
            (1e11, "100000000000"),
            (0.1, "0.1"),
            (2.5, "2.5"),
            (0.00001, "0.00001"),
            (datetime.fromisoformat("2027-03-14"), "2027-03-14"),
            (datetime.fromisoformat("2027-03-14T09:30"), "2027-03-14"),
            (date(2027, 3, 1), "2027-03-01"),
            (True, "yes"),
            (False, "no"),
            ("  text ", "text"),
            (time(9, 30), "09:30:00"),
            (None, ""),
        ],
    )
    def test_cell_as_the_text_of_a_csv(self, book, problems, value, text):
        path = book({"stock": [["item", "quantity", "place", "lot"], ["A", 5, "Rack", value]]})

        assert [row["lot"] for row in read(path, problems)] == [text]
        assert problems.errors == []

    @pytest.mark.parametrize(("value", "text"), [(1e21, "1" + "0" * 21), (1.5e-9, "0.0000000015"), (float("inf"), "Infinity")])
    def test_number_has_no_exponent(self, value, text):
        assert number_text(value) == text

    @pytest.mark.parametrize(
        ("number_format", "text"),
        [
            ("mmm-yy", "2027-03"),
            ("yyyy\\-mm", "2027-03"),
            ('[$-409]mmm yy;"d"', "2027-03"),
            ("d-mmm-yy", "2027-03-01"),
            ("h:mm", "2027-03-01"),
        ],
    )
    def test_first_of_a_month_shown_without_its_day_is_the_month(self, tmp_path, problems, number_format, text):
        workbook = Workbook()
        sheet = workbook.active
        sheet.title = "stock"
        sheet.append(["item", "quantity", "place", "expires"])
        sheet.append(["A", 5, "Rack", datetime.fromisoformat("2027-03-01")])
        sheet["D2"].number_format = number_format
        workbook.save(tmp_path / "book.xlsx")

        [row] = read(tmp_path / "book.xlsx", problems)

        assert row["expires"] == text

    def test_sheet_name_in_any_case(self, book, problems):
        [row] = read(book({"Stock": stock(["A", 5, "Rack"])["stock"]}), problems)

        assert row.where == "book.xlsx:Stock:2"

    def test_short_rows_are_padded(self, book, problems):
        path = book({"stock": [["item", "quantity", "place", "lot"], ["A", 5, "Rack"]]})

        assert [row["lot"] for row in read(path, problems)] == [""]
        assert problems.errors == []

    def test_empty_cells_beyond_the_header_are_no_fault(self, book, problems):
        path = book({"stock": [["item", "quantity", "place", "", " "], ["A", 5, "Rack", "", " "]]})

        assert len(read(path, problems)) == 1
        assert problems.errors == []

    def test_value_beyond_the_header(self, book):
        error = only_error(book(stock(["A", 5, "Rack", None, "loose"])))

        assert error == "book.xlsx:stock:2: column E: 'loose' stands under no name: name the column, or empty the cell"

    def test_wrong_size_stated_by_the_file_cuts_nothing_off(self, book, problems):
        path = book(stock(["A", 5, "Rack"], ["B", 6, "Rack"]))
        replace_in_sheet(path, b'<dimension ref="A1:C3" />', b'<dimension ref="A1:A1" />')

        assert [row["place"] for row in read(path, problems)] == ["Rack", "Rack"]

    def test_rows_left_out_of_the_file_are_counted(self, book, problems):
        path = book(stock(["A", 5, "Rack"]))
        for old, new in ((b'<row r="2">', b'<row r="7">'), (b'r="A2"', b'r="A7"'), (b'r="B2"', b'r="B7"'), (b'r="C2"', b'r="C7"')):
            replace_in_sheet(path, old, new)

        assert [row.where for row in read(path, problems)] == ["book.xlsx:stock:7"]

    def test_missing_sheet(self, book):
        path = book({"stok": stock(["A", 5, "Rack"])["stock"]})
        problems = Problems()

        assert read(path, problems) == []
        assert problems.errors == ["book.xlsx: sheet stock: missing: add it, or give one of the others this name"]
        assert problems.warnings == ["book.xlsx: sheet stok: ignored: did you mean stock?"]

    def test_unknown_sheet_is_warned_of(self, book, problems):
        read(book({**stock(["A", 5, "Rack"]), "Notes to self": []}), problems)

        assert problems.errors == []
        assert problems.warnings == ["book.xlsx: sheet Notes to self: ignored: to be read it must be named stock"]

    @pytest.mark.parametrize(
        ("rows", "error"),
        [
            ([], "book.xlsx:stock:1: empty: row 1 must name the columns"),
            ([["item", "quantity", "place"]], "book.xlsx:stock:1: a header alone: add rows below it, or leave out the stock"),
            ([[], ["item"]], "book.xlsx:stock:1: no header: row 1 is blank, and must name the columns"),
            ([["A", 5, "Rack"]], "book.xlsx:stock:1: no header: row 1 must name the columns, at least item, quantity, place"),
        ],
    )
    def test_no_table_in_the_sheet(self, book, rows, error):
        assert only_error(book({"stock": rows})) == error

    def test_unknown_and_missing_columns(self, book):
        assert errors_of(book({"stock": [["item", "qantity", "place"], ["A", 5, "Rack"]]})) == [
            "book.xlsx:stock:1: qantity: no such column: did you mean quantity?",
            "book.xlsx:stock:1: quantity: this column is missing: add it",
        ]


class TestXlsxFormulas:
    def test_stored_value_is_read(self, book, problems):
        path = book(stock(["A", "=2+3", "Rack"]))
        replace_in_sheet(path, b"<f>2+3</f><v />", b"<f>2+3</f><v>5</v>")

        assert [row["quantity"] for row in read(path, problems)] == ["5"]
        assert problems.errors == []

    def test_without_a_stored_value_is_refused_by_cell(self, book):
        assert only_error(book(stock(["A", 5, "Rack"], ["B", "=2+3", "Rack"]))) == (
            "book.xlsx:stock:3: quantity: cell B3 holds a formula without a stored value: open and save the file in a spreadsheet"
        )

    def test_stored_empty_text_is_blank(self, book, problems):
        path = book({"stock": [["item", "quantity", "place", "lot"], ["A", 5, "Rack", '=""']]})
        replace_in_sheet(path, b'<c r="D2"><f>""</f><v /></c>', b'<c r="D2" t="str"><f>""</f><v></v></c>')

        assert [row["lot"] for row in read(path, problems)] == [""]
        assert problems.errors == []

    def test_error_value_is_refused_by_cell(self, book):
        path = book(stock(["A", "=1/0", "Rack"]))
        replace_in_sheet(path, b'<c r="B2"><f>1/0</f><v /></c>', b'<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v></c>')

        assert only_error(path) == ("book.xlsx:stock:2: quantity: cell B2 holds the error #DIV/0!: mend its formula, or write the value")

    def test_each_faulty_cell_is_named(self, book, problems):
        rows = read(book(stock(["=A1", "=B1", "Rack"], ["B", 6, "=C1"], ["C", 6, "Rack"])), problems)

        assert [row["item"] for row in rows] == ["C"]
        assert [error.split(" holds")[0] for error in problems.errors] == [
            "book.xlsx:stock:2: item: cell A2",
            "book.xlsx:stock:2: quantity: cell B2",
            "book.xlsx:stock:3: place: cell C3",
        ]

    def test_in_the_header(self, book):
        assert only_error(book({"stock": [["item", "=A1", "place"]]})).startswith("book.xlsx:stock:1: cell B1 holds a formula")

    def test_text_that_looks_like_an_error_is_text(self, book, problems):
        path = book(stock(["A", 5, "Rack"]))
        replace_in_sheet(path, b"Rack", b"#5")

        assert len(read(path, problems)) == 1


class TestNoWorkbook:
    @pytest.mark.parametrize("content", [b"", b"item,quantity,place\n", b"PK\x03\x04 torn"])
    def test_is_refused(self, tmp_path, content):
        (tmp_path / "book.xlsx").write_bytes(content)

        assert only_error(tmp_path / "book.xlsx") == (
            "book.xlsx: is no XLSX workbook, or a broken one: open it in a spreadsheet and save it as .xlsx"
        )

    def test_old_format_or_password(self, tmp_path):
        (tmp_path / "book.xlsx").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))

        assert only_error(tmp_path / "book.xlsx") == "book.xlsx: is an old .xls or has a password: save it as .xlsx without one"

    def test_other_zip(self, tmp_path):
        with zipfile.ZipFile(tmp_path / "book.xlsx", "w") as archive:
            archive.writestr("readme.txt", "nothing")

        assert only_error(tmp_path / "book.xlsx").startswith("book.xlsx: is no XLSX workbook")

    def test_broken_in_the_middle_names_the_row(self, book, problems):
        path = book(stock(["A", 5, "Rack"], ["B", 6, "Rack"]))
        replace_in_sheet(path, b'<row r="3">', b'<row r="3"><oops>')

        rows = read(path, problems)

        assert [row["item"] for row in rows] == ["A"]
        assert problems.errors == ["book.xlsx:stock:3: is broken from here on: open it in a spreadsheet and save it again"]

    def test_too_large_when_unpacked(self, book, monkeypatch):
        path = book(stock(["A", 5, "Rack"]))
        monkeypatch.setattr("buildplan.loading.xlsx_tables.MOST_UNPACKED", 1000)

        assert only_error(path) == "book.xlsx: is over 1 GiB when unpacked: split it into several files"

    def test_row_number_past_the_format_ends_the_reading(self, book, monkeypatch, problems):
        path = book(stock(["A", 5, "Rack"], ["B", 6, "Rack"]))
        monkeypatch.setattr("buildplan.loading.xlsx_tables.LAST_ROW", 5)
        replace_in_sheet(path, b'<row r="3">', b'<row r="999999999999">')

        assert [row["item"] for row in read(path, problems)] == ["A"]
        assert problems.errors == ["book.xlsx:stock:6: is past the last row that the format allows: move it up"]


class TestPaths:
    PLAN = {
        "steps": [["step", "section", "title"], ["S1", "F3", "Skin"]],
        "needs": [["step", "item", "quantity"], ["S1", "A", 5]],
        "seams": [["step", "seam", "sealant", "shape"], ["S1", "1", "PR", "film"]],
    }

    @pytest.fixture
    def folder(self, tmp_path):
        folder = tmp_path / "plan"
        folder.mkdir()
        for name, rows in self.PLAN.items():
            with (folder / f"{name}.csv").open("w", newline="") as file:
                csv.writer(file).writerows(rows)
        return folder

    def test_no_such_path(self, tmp_path, problems):
        with pytest.raises(NoSuchPath, match=r"nowhere\.csv: no such file or folder"):
            open_tables(tmp_path / "nowhere.csv", "stock", problems)

    def test_folder_of_a_plan(self, folder, problems):
        assert list(open_tables(folder, "plan", problems)) == ["steps", "needs", "seams"]
        assert [row.where for row in read(folder, problems, "plan")] == ["steps.csv:2", "needs.csv:2", "seams.csv:2"]
        assert problems.errors == problems.warnings == []

    def test_file_names_of_a_folder_in_any_case(self, folder, problems):
        (folder / "steps.csv").rename(folder / "Steps.CSV")

        assert read(folder, problems, "plan")[0].where == "Steps.CSV:2"

    def test_folder_without_its_first_table(self, folder):
        (folder / "steps.csv").unlink()
        problems = Problems()

        assert [row.where for row in read(folder, problems, "plan")] == ["needs.csv:2", "seams.csv:2"]
        assert problems.errors == ["plan: file steps.csv: missing: add it, or give one of the others this name"]

    def test_other_csv_in_a_folder_is_warned_of(self, folder, problems):
        (folder / "seems.csv").write_text("a\n")
        (folder / "notes.txt").write_text("a\n")

        open_tables(folder, "plan", problems)

        assert problems.warnings == ["plan: file seems.csv: ignored: did you mean seams.csv?"]

    def test_header_alone_is_refused_in_a_second_table_too(self, folder):
        (folder / "rows.csv").write_text("step,row,rivet,holes\n")

        assert only_error(folder, "plan") == "rows.csv:1: a header alone: add rows below it, or leave out the rows"

    def test_faults_of_all_files_are_told_at_once(self, folder):
        (folder / "steps.csv").write_text("step,section\nS1,F3\n")
        (folder / "rows.csv").write_bytes(b"")
        (folder / "needs.csv").write_text("step,item,quantity\nS1\n")

        assert [error.split(":")[0] for error in errors_of(folder, "plan")] == ["steps.csv", "rows.csv", "needs.csv"]

    def test_book_of_a_plan_in_the_pinned_order(self, book, problems):
        path = book(dict(reversed(self.PLAN.items())))

        assert list(open_tables(path, "plan", problems)) == ["steps", "needs", "seams"]

    def test_csv_of_a_plan_is_its_steps(self, folder, problems):
        assert list(open_tables(folder / "steps.csv", "plan", problems)) == ["steps"]

    def test_folder_of_another_kind(self, folder, problems):
        assert open_tables(folder, "stock", problems) == {}
        assert problems.errors == ["plan: is a folder: name the file of the stock itself"]

    def test_other_kind_of_file(self, csv_file):
        assert only_error(csv_file("x", "stock.ods")) == "stock.ods: is neither .csv nor .xlsx: save it as one of these"

    def test_file_name_that_is_no_text(self, tmp_path, problems):
        path = tmp_path / "st\udce9ck.csv"
        try:
            path.write_text(STOCK + GOOD_ROW)
        except OSError:
            pytest.skip("this file system takes text names alone")

        [row] = read(path, problems)

        assert row.where == "st\ufffdck.csv:2"

    def test_file_that_goes_away_while_it_is_read(self, csv_file, problems):
        path = csv_file(STOCK + GOOD_ROW)
        table = open_tables(path, "stock", problems)["stock"]
        path.unlink()

        assert list(table.rows()) == []
        assert problems.errors[0].startswith("stock.csv: cannot be read (No such file or directory)")


class TestDigest:
    def digest(self, path: Path) -> str:
        table = open_tables(path, "stock", Problems())["stock"]
        for _ in table.rows():
            pass
        return table.digest

    def test_is_not_known_before_the_rows_are_read(self, csv_file, problems):
        table = open_tables(csv_file(STOCK + GOOD_ROW), "stock", problems)["stock"]

        with pytest.raises(RuntimeError, match=r"digest of stock\.csv"):
            _ = table.digest

    @pytest.mark.parametrize(
        "content",
        [
            "ITEM,Quantity,place\nA,5,Rack\nB,2.5,Rack\n",
            "place,item,quantity\nRack,A,5\nRack,B,2.5\n",
            "item;quantity;place\n\n A ;5;Rack\n;;\nB;2.5;Rack\n",
            "item,quantity,place,lot\r\nA,5,Rack,\r\nB,2.5,Rack,\r\n",
        ],
    )
    def test_same_content_in_another_dress(self, csv_file, book, content):
        expected = self.digest(book(stock(["A", 5, "Rack"], ["B", 2.5, "Rack"])))

        assert self.digest(csv_file(content)) == expected

    @pytest.mark.parametrize(
        "content",
        [
            STOCK + "B,5,Rack\nA,5,Rack\n",
            STOCK + "A,5,Rack\n",
            STOCK + "A,5,Rack\nB,6,Rack\n",
            "item,quantity,place,lot\nA,5,Rack,x\nB,5,Rack,\n",
        ],
    )
    def test_other_content(self, csv_file, content):
        expected = self.digest(csv_file(STOCK + "A,5,Rack\nB,5,Rack\n", "first.csv"))

        assert self.digest(csv_file(content)) != expected

    def test_depends_on_the_kind_of_table(self, csv_file):
        path = csv_file("item,quantity,place,name,kind,unit\n".replace("quantity,place,", "") + "A,B,part,ea\n")
        problems = Problems()
        catalogue = open_tables(path, "catalogue", problems)["catalogue"]
        steps = Table("stock", catalogue._source, problems)
        for table in (catalogue, steps):
            list(table.rows())

        assert catalogue.digest != steps.digest


class TestReading:
    def test_second_reading_gives_the_rows_again_and_no_problem_twice(self, csv_file, problems):
        table = open_tables(csv_file(STOCK + GOOD_ROW + "A\n"), "stock", problems)["stock"]

        assert list(table.rows()) == list(table.rows())
        assert len(problems.errors) == 1

    @pytest.mark.parametrize(("count", "reports"), [(1, [1]), (1000, [1000]), (2500, [1000, 2000, 2500])])
    def test_progress(self, csv_file, problems, count, reports):
        told: list[int] = []
        table = open_tables(csv_file(STOCK + GOOD_ROW * count), "stock", problems)["stock"]

        for _ in table.rows(progress=told.append):
            pass

        assert told == reports

    def test_100_000_rows_stream(self, csv_file, problems):
        path = csv_file(STOCK + "".join(f"ITEM-{n},{n + 1},Hangar / Rack {n % 50}\n" for n in range(100_000)))

        tracemalloc.start()
        try:
            count = sum(1 for _ in open_tables(path, "stock", problems)["stock"].rows())
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

        assert count == 100_000
        assert problems.errors == []
        assert peak < 5_000_000

    def test_rows_of_a_sheet_stream(self, book, problems):
        path = book(stock(*(["A", n, "Rack"] for n in range(1, 10_001))))

        tracemalloc.start()
        try:
            count = sum(1 for _ in open_tables(path, "stock", problems)["stock"].rows())
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

        assert count == 10_000
        assert peak < 20_000_000


class TestProblems:
    def test_long_list_is_cut_and_counted(self, csv_file, problems):
        read(csv_file(STOCK + "A\n" * 457), problems)

        assert len(problems.errors) == 201
        assert problems.errors[-1] == "and 257 more errors: mend these first"
        assert problems.error_count == 457
        assert problems.full

    def test_list_of_just_the_most_is_whole(self):
        problems = Problems(most=2)
        problems.add_error("a")
        problems.add_error("b")

        assert problems.errors == ["a", "b"]

    def test_warnings_are_cut_too(self):
        problems = Problems(most=1)
        for text in "abc":
            problems.add_warning(text)

        assert problems.warnings == ["a", "and 2 more warnings: mend these first"]
        assert (problems.errors, problems.full, problems.warning_count) == ([], False, 3)


class TestNear:
    @pytest.mark.parametrize(
        ("text", "match"),
        [("quantty", "quantity"), ("PLACE ", "place"), ("expiry", "expires"), ("zzz", None), ("", None), ("--", None)],
    )
    def test_column(self, text, match):
        assert near(text, COLUMNS["stock"].names) == match

    def test_item(self):
        assert near("AN470AD4-6", {"MS20470AD4-6", "MS20426AD3-4", "PR1422-B2"}) == "MS20470AD4-6"

    def test_no_choices(self):
        assert near("anything", []) is None

    def test_tie_does_not_depend_on_the_order_of_choices(self):
        assert near("ab", ["abd", "abc"]) == near("ab", ["abc", "abd"])


ANY_BYTES = st.one_of(
    st.binary(max_size=200),
    st.binary(max_size=100).map(lambda tail: STOCK.encode() + tail),
    st.text(alphabet='item,;"\n\r 1\u00e9\x1d', max_size=60).map(lambda tail: (STOCK + tail).encode()),
    st.lists(st.sampled_from([b"item", b"quantity", b"place", b",", b";", b"\n", b"\r", b'"', b"\xff", b"\xef\xbb\xbf"]), max_size=30).map(
        b"".join
    ),
)


class TestAnyBytes:
    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=300)
    @given(content=ANY_BYTES)
    def test_csv_gives_rows_or_problems(self, tmp_path, content):
        path = tmp_path / "stock.csv"
        path.write_bytes(content)
        problems = Problems()

        rows = read(path, problems)

        assert rows or problems.errors
        assert all(error.startswith("stock.csv:") and error.isprintable() for error in problems.errors)

    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=100)
    @given(damage=st.lists(st.tuples(st.integers(0, 20_000), st.integers(0, 255)), max_size=20), kept=st.integers(1, 20_000))
    def test_damaged_workbook_gives_rows_or_problems(self, book, damage, kept):
        path = book(stock(["A", 5, "Rack"], ["B", "=2+3", "Rack"]))
        content = bytearray(path.read_bytes())
        for at, byte in damage:
            content[at % len(content)] = byte
        path.write_bytes(content[:kept])
        problems = Problems()

        rows = read(path, problems)

        assert rows or problems.errors
