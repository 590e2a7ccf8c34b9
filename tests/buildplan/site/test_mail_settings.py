"""Where mails go, as the environment says it."""

import json
import os
import subprocess
import sys

import pytest
from django.conf import settings

NAMES = ("EMAIL_BACKEND", "EMAIL_HOST", "EMAIL_PORT", "EMAIL_USE_TLS", "EMAIL_USE_SSL", "DEFAULT_FROM_EMAIL")
READ = f"import json; from buildplan.site import settings; print(json.dumps([getattr(settings, name) for name in {NAMES}]))"


def read(**given):
    environment = {name: value for name, value in os.environ.items() if not name.startswith("RIVETLOFT_MAIL")}
    answer = subprocess.run(
        [sys.executable, "-c", READ], env={**environment, **given}, cwd=settings.BASE_DIR, capture_output=True, text=True, check=False
    )
    return json.loads(answer.stdout) if answer.returncode == 0 else answer.stderr


def test_mails_are_printed_unless_a_server_is_named():
    assert read() == ["django.core.mail.backends.console.EmailBackend", "", 587, True, False, "rivetloft@localhost"]


@pytest.mark.parametrize(("port", "starttls", "tls"), [("587", True, False), ("465", False, True), ("25", False, False)])
def test_server_is_spoken_to_as_its_port_says(port, starttls, tls):
    given = {"RIVETLOFT_MAIL_HOST": "mail.club.example", "RIVETLOFT_MAIL_PORT": port, "RIVETLOFT_MAIL_FROM": "loft@club.example"}

    smtp = "django.core.mail.backends.smtp.EmailBackend"
    assert read(**given) == [smtp, "mail.club.example", int(port), starttls, tls, "loft@club.example"]


def test_port_that_is_none_is_refused():
    assert "RIVETLOFT_MAIL_PORT is 'x': give a whole number above 0" in read(RIVETLOFT_MAIL_PORT="x")
