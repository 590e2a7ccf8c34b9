"""Each kind of column: what is written is what is read, and what can't be a value is told in words."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from django.db import connection, models
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.archive import cells
from buildplan.archive.problems import BadCell
from buildplan.archive.tables import all_tables
from inventory.common.fields import FractionField, QuantityField

pytestmark = pytest.mark.django_db  # how the database takes a value is asked of it

TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=60) | st.sampled_from(
    ["\\N", "\\", "\\\\N", "", '"', "a\r\nb", "=1+1", ","]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | TEXT, lambda one: st.lists(one, max_size=3) | st.dictionaries(TEXT, one, max_size=3)
)
ZONES = st.sampled_from([UTC, timezone(timedelta(hours=5, minutes=45))])
OLDEST = datetime(1900, 1, 1)  # noqa: DTZ001 - Hypothesis wants it without a zone
CASES = [
    (models.TextField(null=True), st.none() | TEXT),
    (models.CharField(max_length=60), TEXT),
    (QuantityField(null=True), st.none() | st.decimals(-(10**11), 10**11, places=3)),
    (FractionField(null=True), st.none() | st.fractions(max_denominator=10**9, min_value=-(10**9), max_value=10**9)),
    (models.DecimalField(max_digits=12, decimal_places=4), st.decimals(-(10**7), 10**7, places=4)),
    (models.IntegerField(null=True), st.none() | st.integers(-(2**31), 2**31 - 1)),
    (models.BooleanField(), st.booleans()),
    (models.DateField(null=True), st.none() | st.dates()),
    (models.DateTimeField(), st.datetimes(timezones=ZONES, min_value=OLDEST)),
    (models.TimeField(), st.times()),
    (models.UUIDField(null=True), st.none() | st.uuids()),
    (models.JSONField(null=True), st.none() | JSON.filter(lambda one: one is not None and "\\u0000" not in json.dumps(one))),
]


def through_a_file(text):
    file = io.StringIO(newline="")
    csv.writer(file, lineterminator="\r\n").writerow([text, "end"])
    file.seek(0)
    return next(csv.reader(file, strict=True))[0]


@settings(max_examples=60)
@given(st.data())
def test_what_is_written_is_what_the_database_is_given(data):
    for field, values in CASES:
        field.set_attributes_from_name("one")
        value = data.draw(values)
        read = cells.reader(field)(through_a_file(cells.writer(field)(value)))
        if isinstance(field, models.JSONField) and value is not None:
            assert json.loads(read.dumps(read.obj) if connection.vendor == "postgresql" else read) == value
        else:
            assert read == field.get_db_prep_save(value, connection), field


REFUSED = [
    (models.DateField(), ["", "2027-02-31", "tomorrow", "20270101x"], "no day|blank"),
    (models.DateTimeField(), ["2027-03-01T10:00:00", "2027-03-01T25:00:00Z"], "no instant"),
    (models.TimeField(), ["25:00", "noon"], "no time"),
    (models.IntegerField(), ["1.5", "1e3", " 1", "one", "99999999999", "9" * 30], "no whole number|not between"),
    (models.PositiveIntegerField(), ["-1"], "not between"),
    (QuantityField(), ["0.0001", "1e5", "NaN", "Infinity", "9999999999999"], "finer|no number|too large"),
    (models.DecimalField(max_digits=5, decimal_places=2), ["1.234", "12345.6", "NaN", "1,5"], "digits|no number"),
    (FractionField(), ["1/0", "0.5", "1/-2", "a"], "no fraction"),
    (models.BooleanField(), ["true", "1", "Yes"], "neither yes nor no"),
    (models.UUIDField(), ["1234"], "no uuid"),
    (models.JSONField(), ["{", "NaN", '"\\u0000"', "[" * 100_000], "no JSON|code 0"),
    (models.CharField(max_length=3), ["four", "\\N", "a\0"], "characters|nothing|code 0"),
]


def test_what_can_t_be_a_value_is_told():
    for field, texts, says in REFUSED:
        field.set_attributes_from_name("one")
        for text in texts:
            with pytest.raises(BadCell, match=says):
                cells.reader(field)(text)


def test_every_class_of_field_of_the_models_is_among_these():
    ours = {
        cells._kind(column.field)
        for table in all_tables().values()
        for column in table.columns
        if not column.field.remote_field and not cells.is_text(column.field)
    }

    assert ours <= {cells._kind(field) for field, _ in CASES if not cells.is_text(field)}
