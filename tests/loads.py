"""Files to load, the command that loads them, and what the database then holds."""

import json
import zipfile
from dataclasses import dataclass
from io import StringIO

from django.apps import apps
from django.core.management import CommandError, call_command
from openpyxl import Workbook

CATALOGUE = "ITEM,NAME,KIND,UNIT"
STOCK = "ITEM,QUANTITY,PLACE"
PACKING = "BAG,LINE,ITEM,QUANTITY"
STEPS = "STEP,SECTION,TITLE"
NEEDS = "STEP,ITEM,QUANTITY"

RIVETS = "MS20470AD4-6,Universal rivet,rivet,ea"
SEALANT = "SEAL-B2,Tank sealant,sealant,g"
ANGLE = "FLT.140,Chine angle,part,m"


@dataclass(frozen=True)
class Ran:
    """How a command ended, and what it printed."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)

    @property
    def errors(self):
        return self.json["errors"]

    @property
    def warnings(self):
        return self.json["warnings"]

    @property
    def loaded(self):
        return self.json["loaded"]


def run(*arguments):
    out, err = StringIO(), StringIO()
    try:
        call_command(*map(str, arguments), stdout=out, stderr=err)
    except SystemExit as ended:
        return Ran(ended.code, out.getvalue(), err.getvalue())
    except CommandError as error:
        return Ran(error.returncode, out.getvalue(), f"{err.getvalue()}{error}")
    return Ran(0, out.getvalue(), err.getvalue())


def load(kind, path, *more, workshop="MARSH"):
    """Load into our workshop, and read the answer as a program would."""
    return run("load", kind, path, "--workshop", workshop, "--json", *more)


def loaded(kind, path, *more, workshop="MARSH"):
    """Load a file that must be good."""
    found = load(kind, path, *more, workshop=workshop)
    assert (found.code, found.errors) == (0, [])
    return found


def table(path, *lines):
    """A CSV file; bytes are written as they are."""
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(lines[0] if isinstance(lines[0], bytes) else "".join(f"{line}\n" for line in lines).encode())
    return path


def book(path, **sheets):
    """An XLSX file of sheets, each a list of lines as of a CSV file."""
    workbook = Workbook()
    workbook.remove(workbook.active)
    for title, lines in sheets.items():
        sheet = workbook.create_sheet(title)
        for line in lines:
            sheet.append(line.split(","))
    workbook.save(path)
    return path


def replace_in_sheet(path, old, new):
    """Change a workbook's first sheet where the library that writes it cannot."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    assert old in parts[sheet]
    parts[sheet] = parts[sheet].replace(old, new)
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


def row_counts():
    """How many rows each table of the site has, whosever they are."""
    models = [model for model in apps.get_models(include_auto_created=True) if model._meta.app_label in {"inventory", "buildplan"}]
    return {model.__name__: model._base_manager.count() for model in models}
