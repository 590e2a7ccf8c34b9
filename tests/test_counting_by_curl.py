"""docs/counting-by-curl.md runs as it stands: its lines are read out of it and given to a shell."""

import json
import re
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path

import pypdfium2
import pytest
from django.conf import settings
from django.utils import timezone
from django_scopes import scope

from buildplan.loading.demo import CODE, KEEPER, ensure_demo
from inventory.models import Crate, Member, Movement, PackingLine, Scan, Tally, Workshop
from inventory.stock.queries import ledger_errors
from inventory.tallying.queries import receipt
from inventory.workshop.services import issue_device

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(shutil.which("curl") is None, reason="needs curl"),
]
DOCUMENT = Path(settings.BASE_DIR) / "docs" / "counting-by-curl.md"


def lines():
    return "\n".join(re.findall(r"```\n(.*?)```", DOCUMENT.read_text(), flags=re.DOTALL))


@pytest.fixture
def keeper():
    ensure_demo(settings.BASE_DIR / "fixtures", password="salt marsh", today=timezone.localdate())
    workshop = Workshop.objects.get(code=CODE)
    with scope(workshop=workshop):
        yield Member.objects.get(user__email=KEEPER)


def test_the_demo_crate_is_counted_in_by_curl_alone(keeper, live_server, tmp_path):
    _, token = issue_device(member=keeper, name="curl", scopes=["manage"], by=keeper)
    script = re.sub(r"HOST=\S+ TOKEN=\S+", f"HOST={live_server.url} TOKEN={token}", lines())

    shell = [shutil.which("bash"), "-euo", "pipefail", "-c", script]
    done = subprocess.run(shell, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)

    assert done.returncode == 0, done.stdout[-3000:] + done.stderr
    answers = [json.loads(line) for line in done.stdout.splitlines() if line.strip()]
    first, again = (answer["results"][0] for answer in answers if "results" in answer)
    assert first == again
    crate = Crate.objects.get(code="CRATE-7")
    line = PackingLine.objects.get(crate=crate, item__code="MS20470AD4-6")
    assert (Scan.objects.count(), Tally.objects.get().quantity) == (1, Decimal(94))
    assert Movement.objects.get(ref=f"line:{line.pk}").quantity == Decimal(94)
    assert ledger_errors() == []
    assert sum(one.short for one in receipt(crate).differences if one.line_id == line.pk) == Decimal(6)
    letter = "".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(tmp_path / "claim.pdf"))
    assert "MS20470AD4-6" in letter
