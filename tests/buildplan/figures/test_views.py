"""The pages of the bench's calculators."""

import re
from html import unescape
from http import HTTPStatus

import pytest
from django.urls import reverse
from django.utils.http import urlencode
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildplan.figures.calculators import CALCULATORS
from tests.figures import BAD, CASES

NAMES = sorted(CALCULATORS)


def words(page):
    return unescape(" ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split()))


def url(name):
    return reverse("figure", args=[name])


@pytest.fixture
def member(as_member, reader):
    return as_member(reader)


def test_list_leads_to_every_calculator(member):
    page = member.get(reverse("figures")).content.decode()

    for one in CALCULATORS.values():
        assert f'<a href="{url(one.name)}">{one.title}</a>' in page


def test_menu_leads_to_the_list(member):
    assert f'<a href="{reverse("figures")}" aria-current="page">Bench figures</a>' in member.get(reverse("figures")).content.decode()


@pytest.mark.parametrize("name", NAMES)
def test_page_asks_before_anything_is_given(member, name):
    page = member.get(url(name))

    assert page.status_code == HTTPStatus.OK
    assert 'role="alert"' not in page.content.decode()
    for one in CALCULATORS[name].inputs:
        assert f'name="{one.name}"' in page.content.decode()


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.name}: {case.source}")
def test_page_shows_what_its_source_says(member, case):
    page = member.get(url(case.name), case.asked)

    assert page.status_code == HTTPStatus.OK
    shown = words(page)
    labels = CALCULATORS[case.name].results
    for name, values in case.found.items():
        assert labels[name] in shown
        for value in values:
            assert value in shown


@pytest.mark.parametrize("name", NAMES)
def test_page_shows_reasons_and_cautions_with_their_sources(member, name):
    page = member.get(url(name), CALCULATORS[name].example)

    answer = page.context["answer"]
    shown = words(page)
    for reason in (*answer.found.trace, *answer.cautions):
        assert " ".join(reason.text.split()) in shown
        assert reason.source in shown
    assert "it never approves an aeroplane" in shown


@pytest.mark.parametrize("name", NAMES)
def test_page_keeps_what_was_given_and_links_to_the_same_in_the_api(member, name):
    example = CALCULATORS[name].example
    page = member.get(url(name), example)

    source = unescape(page.content.decode())
    assert f'href="/api/v1/figures/{name}?{urlencode(example, doseq=True)}"' in source
    for texts in example.values():
        assert "\n".join(texts) in source


def test_lines_of_a_box_are_several_values(member):
    asked = {"span": "13,15,1\r\n\r\n14,16,2\r\n"}

    assert "Peak 3" in words(member.get(url("pin-peak"), asked))


def test_repeated_values_fill_the_box_again(member):
    page = member.get(url("pin-peak"), {"span": ["13,15,1", "14,16,2"]})

    assert "13,15,1\n14,16,2</textarea>" in page.content.decode()


@pytest.mark.parametrize(("text", "ticked"), [("yes", True), ("1", True), ("no", False), ("", False)])
def test_flag_is_ticked_as_it_was_given(member, text, ticked):
    page = member.get(url("rivet-length"), {**CALCULATORS["rivet-length"].example, "long_grip": text})

    (box,) = re.findall(r'<input type="checkbox"[^>]*>', page.content.decode())
    assert ("checked" in box) is ticked


@pytest.mark.parametrize(("name", "changed", "field", "told"), BAD)
def test_bad_input_is_said_beside_its_field(member, name, changed, field, told):
    page = member.get(url(name), {**CALCULATORS[name].example, **changed})

    assert page.status_code == HTTPStatus.BAD_REQUEST
    assert list(page.context["form"].errors) == [field]
    assert told in " ".join(page.context["form"].errors[field])
    assert f'id="id_{field}_error"' in page.content.decode()
    assert page.context["answer"] is None


def test_text_of_the_address_is_never_markup(member):
    page = member.get(url("drill"), {"name": "<script>alert(1)</script>"})

    assert "<script>alert" not in page.content.decode()


def test_unknown_calculator_is_a_404(member):
    assert member.get(url("nope")).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("address", [reverse("figures"), *map(url, NAMES)])
def test_signed_out_is_sent_to_sign_in(db, client, address):
    answer = client.get(address)
    assert answer.status_code == HTTPStatus.FOUND
    assert answer.url.startswith(reverse("sign-in"))


@pytest.mark.parametrize("name", NAMES)
def test_page_only_reads(member, name):
    assert member.post(url(name)).status_code == HTTPStatus.METHOD_NOT_ALLOWED


@pytest.mark.parametrize("name", NAMES)
def test_page_takes_the_same_queries_with_and_without_an_answer(queries_of, reader, name):
    asked = f"{url(name)}?{urlencode(CALCULATORS[name].example, doseq=True)}"

    assert queries_of(reader, asked) == queries_of(reader, url(name)) == queries_of(reader, reverse("figures"))


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_text_is_reckoned_or_refused(member, name, data):
    calculator = CALCULATORS[name]
    changed = data.draw(st.dictionaries(st.sampled_from([one.name for one in calculator.inputs]), st.text(max_size=80), min_size=1))

    assert member.get(url(name), {**calculator.example, **changed}).status_code in {HTTPStatus.OK, HTTPStatus.BAD_REQUEST}
