"""A creating request that is sent again acts once."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from rest_framework.parsers import MultiPartParser
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from inventory.common.json_body import JsonBody
from inventory.common.problems import Problem
from inventory.models import Bench, KeptAnswer
from inventory.workshop import services
from inventory.workshop.idempotency import once


class Refused(Problem):
    status = 409


class BenchesView(APIView):
    """Makes the bench of a code; `fail` says how it goes wrong once that is done."""

    authentication_classes = permission_classes = ()
    parser_classes = (JsonBody, MultiPartParser)

    @once
    def post(self, request):
        bench, _ = services.ensure_bench(workshop=request.member.workshop, code=request.data["code"], by=request.member)
        if request.data.get("fail") == "raise":
            raise Refused("no")
        if request.data.get("fail"):
            return Response({}, status=int(request.data["fail"]))
        return Response({"id": bench.pk, "code": bench.code}, status=201, headers={"Location": f"/benches/{bench.pk}", "X-Other": "1"})


def send(member, data, key=None, path="/benches", form="json"):
    headers = {} if key is None else {"Idempotency-Key": key}
    request = APIRequestFactory().post(path, data, format=form, headers=headers)
    request.member, request.workshop = member, member.workshop
    answer = BenchesView.as_view()(request)
    answer.render()
    return answer


def test_same_key_again_gets_the_first_answer_and_makes_nothing(storekeeper):
    first = send(storekeeper, {"code": "HERON"}, "k1")
    Bench.objects.filter(pk=first.data["id"]).update(code="RENAMED")
    again = send(storekeeper, {"code": "HERON"}, "k1")

    assert (again.status_code, again.data, again["Location"]) == (201, first.data, first["Location"])
    assert (again.get("Idempotent-Replay"), first.get("Idempotent-Replay")) == ("true", None)
    assert list(Bench.objects.values_list("code", flat=True)) == ["RENAMED"]


def test_another_key_acts_again(storekeeper):
    for key in ("k1", "k2", None, None):
        assert send(storekeeper, {"code": f"B-{key}"}, key).status_code == 201
    assert (Bench.objects.count(), KeptAnswer.objects.count()) == (3, 2)


@pytest.mark.parametrize(("data", "path"), [({"code": "OTHER"}, "/benches"), ({"code": "HERON"}, "/elsewhere")])
def test_key_of_another_request_is_refused(storekeeper, data, path):
    send(storekeeper, {"code": "HERON"}, "k1")
    answer = send(storekeeper, data, "k1", path=path)

    assert (answer.status_code, answer.data["title"]) == (422, "This Idempotency-Key was used before")
    assert Bench.objects.count() == 1


def test_key_of_another_member_is_their_own(storekeeper, owner):
    assert send(storekeeper, {"code": "HERON"}, "k1").status_code == 201
    assert send(owner, {"code": "TERN"}, "k1").get("Idempotent-Replay") is None
    assert Bench.objects.count() == 2


@pytest.mark.parametrize("fail", ["raise", "400", "422"])
@pytest.mark.parametrize("key", ["k1", None])
def test_refused_request_leaves_nothing_and_its_key_free(storekeeper, fail, key):
    assert send(storekeeper, {"code": "HERON", "fail": fail}, key).status_code in {409, 400, 422}
    assert (Bench.objects.count(), KeptAnswer.objects.count()) == (0, 0)

    assert send(storekeeper, {"code": "HERON"}, key).status_code == 201


@pytest.mark.parametrize("key", ["", " ", "x" * 256, "a\tb", "\x7f"])
def test_key_that_is_none_is_refused(storekeeper, key):
    answer = send(storekeeper, {"code": "HERON"}, key)

    assert (answer.status_code, answer.data["title"]) == (400, "This Idempotency-Key doesn't do")
    assert Bench.objects.count() == 0


def test_form_with_a_file_is_known_again_by_its_contents(storekeeper):
    def form(content):
        return {"code": "HERON", "photo": SimpleUploadedFile("a.png", content)}

    first = send(storekeeper, form(b"one"), "k1", form="multipart")

    assert send(storekeeper, form(b"one"), "k1", form="multipart").data == first.data
    assert send(storekeeper, form(b"two"), "k1", form="multipart").status_code == 422


def test_answers_older_than_thirty_days_go_when_a_new_one_is_kept(storekeeper, owner):
    for key, days in (("young", 29), ("old", 31)):
        send(storekeeper, {"code": "HERON"}, key)
        KeptAnswer.objects.filter(key=key).update(at=timezone.now() - timedelta(days=days))
    send(owner, {"code": "HERON"}, "new")
    assert KeptAnswer.objects.count() == 3

    send(storekeeper, {"code": "HERON"}, "new")
    assert set(KeptAnswer.objects.filter(member=storekeeper).values_list("key", flat=True)) == {"young", "new"}


def test_repeat_takes_one_look(storekeeper, django_assert_num_queries):
    send(storekeeper, {"code": "HERON"}, "k1")
    with django_assert_num_queries(3):  # the savepoint's two, and the look
        send(storekeeper, {"code": "HERON"}, "k1")
