"""How the API knows its caller."""

from typing import Any

from django.http import Http404
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import SessionAuthentication
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request


class MemberSession(SessionAuthentication):
    """A signed-in browser. Naming a scheme makes DRF answer 401, not 403, to a caller who isn't signed in."""

    def authenticate_header(self, request: Request) -> str:
        """What WWW-Authenticate says."""
        del request
        return 'Session realm="Rivetloft"'


class WorkshopMember(IsAuthenticated):
    """Somebody signed in who works in the workshop asked for. To anyone else that workshop doesn't exist."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """Whether they are signed in; 404 where they are, but have no workshop here."""
        if not super().has_permission(request, view):
            return False
        if getattr(request, "workshop", None) is None:
            raise Http404
        return True


class MemberSessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the API's description names it."""

    target_class = "inventory.workshop.authentication.MemberSession"
    name = "memberSession"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """A cookie, as signing in sets it."""
        del auto_schema
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
