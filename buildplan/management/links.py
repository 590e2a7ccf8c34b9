"""The address that signs a person in once."""

import os

from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from inventory.models import User
from inventory.workshop.services import sign_in_token

ADDRESS = "http://127.0.0.1:8000"


def sign_in_link(user: User, address: str | None = None) -> str:
    """A link to the site at `address`, else at RIVETLOFT_ADDRESS, else on this machine; anyone who holds it can use it, once."""
    base = address or os.environ.get("RIVETLOFT_ADDRESS", ADDRESS)
    return base.rstrip("/") + reverse("sign-in-link", args=[urlsafe_base64_encode(force_bytes(user.pk)), sign_in_token(user)])
