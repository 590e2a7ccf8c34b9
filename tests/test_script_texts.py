"""What scripts say to people stands in the catalogue; and what views say after a press is marked for translation."""

import ast
import json
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import translation

from buildplan.sealday import script_words as sealday
from inventory.common.script_texts import OTHER, counted_in_english, in_english
from inventory.scanning import script_words as scanning
from inventory.workshop import reading

ROOT = Path(settings.BASE_DIR)
STATIC = ROOT / "buildplan" / "site" / "static"
# Who keeps the texts of which scripts: a new folder of scripts takes its line here.
KEPT = {"scan": scanning, "sealday": sealday}
COMMENT = re.compile(r"/\*.*?\*/|(?<!:)//[^\n]*", re.DOTALL)
LITERAL = re.compile(r'"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`')
SAID = re.compile(r'\bsaid\(\s*("(?:[^"\\\n]|\\.)*")')
COUNTED = re.compile(r'\bcounted\(\s*("(?:[^"\\\n]|\\.)*"),\s*("(?:[^"\\\n]|\\.)*")')
CALL = re.compile(r"\b(?:said|counted)\(")
WORDS = re.compile(r"[A-Za-z]+[,.:;]? [A-Za-z]{2,}|^[A-Z][a-z]+\b")  # two words, or one with a capital
BESIDE_A_VALUE = re.compile(r"(^| )[a-z]{2,} | [a-z]{2,}( |$)")
# Literals that look like words and are the machine's.
MACHINE = {
    "(pointer: fine)",
    "Accept",
    "Code128",
    "Code39",
    "Content-Type",
    "DataBar",
    "DataMatrix",
    "Enter",
    "MicroQRCode",
    "NotAllowedError",
    "Plain",
    "Rivetloft-User",
    "Retry-After",
    "Scan-Version",
    "Tab",
    "signed out",  # the name of a state
    "text/plain; charset=utf-8",
    "use strict",
}


def scripts():
    return sorted(path for path in STATIC.rglob("*.js") if "vendor" not in path.parts)


def source(path):
    return COMMENT.sub("", path.read_text())


def is_for_people(literal):
    text = re.sub(r"\$\{[^}]*\}", "", literal[1:-1])
    if text in MACHINE or re.search(r"[=>\[]|prefers-", text):
        return False
    beside = "${" in literal and BESIDE_A_VALUE.search(text)
    return bool(beside or WORDS.search(" ".join(text.split())))


def test_every_folder_of_scripts_that_says_something_has_its_catalogue():
    saying = {path.parent.name for path in scripts() if CALL.search(source(path)) and path.name != "texts.js"}

    assert saying == set(KEPT)


@pytest.mark.parametrize("folder", KEPT)
def test_scripts_say_what_the_catalogue_has_and_nothing_else(folder):
    whole = "\n".join(source(path) for path in scripts() if path.parent.name == folder)
    said = {json.loads(one) for one in SAID.findall(whole)}
    counted = {tuple(map(json.loads, pair)) for pair in COUNTED.findall(whole)}

    words = KEPT[folder]
    assert said == set(in_english(words.TEXTS))
    assert counted == set(zip(counted_in_english(words.counted), counted_in_english(words.counted, OTHER), strict=True))
    assert len(CALL.findall(whole)) == len(SAID.findall(whole)) + len(COUNTED.findall(whole)), "a text that isn't written where it is said"


@pytest.mark.parametrize("path", scripts(), ids=lambda path: path.name)
def test_no_text_for_people_stands_outside_the_catalogue(path):
    text = COUNTED.sub("", SAID.sub("", source(path)))

    assert [one for one in LITERAL.findall(text) if is_for_people(one)] == []


def test_in_english_a_page_gives_its_scripts_no_texts_and_in_german_all_of_them():
    assert scanning.page_texts() == "{}"
    with translation.override("de"):
        told = json.loads(scanning.page_texts())

    assert told["No photo"] == "Kein Foto"
    forms = next(forms for text, forms in told.items() if text.startswith("%(count)s scan is not sent"))
    assert forms["one"].startswith("%(count)s Scan ist noch nicht gesendet.")
    assert forms["other"].startswith("%(count)s Scans sind noch nicht gesendet.")
    assert set(told) == {*in_english(scanning.TEXTS), *counted_in_english(scanning.counted)}


def test_scan_page_and_its_worker_carry_the_texts_of_the_reader_s_language(as_member, owner):
    client = as_member(owner)
    assert 'data-texts="{}"' in client.get(reverse("scan")).content.decode()
    reading.set_own(member=owner, by=owner, language="de")
    client = as_member(owner)

    assert "Kein Code" in client.get(reverse("scan")).content.decode()
    worker = client.get(reverse("scan-worker")).content.decode()
    absent = json.loads(re.search(r"^const ABSENT = (.*);$", worker, re.MULTILINE)[1])
    assert {code: text.split(",")[0] for code, text in absent.items()} == {"en": "No network", "de": "Kein Netz"}


# What views and forms say


MARKS = {"_", "_now", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "ngettext_lazy", "pgettext", "pgettext_lazy", "npgettext"}
# Literals that look like words and are no page's: heads of answers, markup, names of classes, units.
NO_WORDS = re.compile(r"charset=|filename=|max-age|</?[a-z]+|^[A-Z][a-z]+-[A-Z][a-z]+$|^(User|Weighed|Listed|Rows)$| mm$")
KEPT_ENGLISH = {
    "its pieces",  # of the sentence that refuses to change a done step
    "its rows",
    "its maker",  # a source
    "its seams",
    "stock list",  # of the sentence that refuses a file
    "packing list",
    "marked on",  # the columns and cells of a file
    "taken away on",
    " to final size",
    " with 0",
    "0 0 in 0",
    "weighed 0, tare 0, 0 pieces 0",  # a note that is kept
}


def speaking():
    """Every module of views or forms, and every other that tells somebody something by a message."""
    for app in ("inventory", "buildplan"):
        for path in sorted((ROOT / app).rglob("*.py")):
            text = path.read_text()
            if path.name.endswith(("views.py", "forms.py")) or "import messages" in text or "undoable(" in text:
                yield path, ast.parse(text)


def unmarked(node):
    """The literals below a node that read as words, without what is marked, documented, or raised: a Problem's sentence stays English."""
    if isinstance(node, ast.Raise) or (isinstance(node, ast.Call) and getattr(node.func, "id", "") in MARKS):
        return
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return
    if isinstance(node, ast.JoinedStr):
        yield "".join(part.value if isinstance(part, ast.Constant) else "0" for part in node.values), True
        return
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value, False
    for child in ast.iter_child_nodes(node):
        yield from unmarked(child)


def reads_as_words(text, *, holds_values):
    if NO_WORDS.search(text) or text in KEPT_ENGLISH:
        return False
    return bool(WORDS.search(text) or (holds_values and BESIDE_A_VALUE.search(text)))


def test_what_views_and_forms_say_is_marked_for_translation():
    found = [
        f"{path.relative_to(ROOT)}: {text}"
        for path, tree in speaking()
        for text, holds_values in unmarked(tree)
        if reads_as_words(text, holds_values=holds_values)
    ]

    assert found == []


UNMARKED = (
    'messages.success(r, "It is kept.")',
    'undoable(r, f"Bag {bag} is counted.", "undo")',
    'title = "A mystery"',
    'what = f"{a} for {b}"',
)


@pytest.mark.parametrize("said", UNMARKED)
def test_a_text_without_a_mark_is_found(said):
    assert [text for text, values in unmarked(ast.parse(said)) if reads_as_words(text, holds_values=values)]
