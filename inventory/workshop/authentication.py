"""How the API knows its caller, and what that caller's token may do."""

from typing import Any

from django.http import Http404
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from inventory.common.scopes import scope_of
from inventory.workshop import policy
from inventory.workshop.models import Device, User

PAGE_OF = "Rivetloft-User"  # a header


class DeviceToken(BaseAuthentication):
    """A device that sent `Authorization: Bearer TOKEN`. The middleware has looked it up already: its workshop is the scope."""

    def authenticate(self, request: Request) -> tuple[User, Device] | None:
        """The device and its member's user. A token that is no good is an error, even beside a good session."""
        if not getattr(request, "token_sent", False):
            return None
        device = getattr(request, "device", None)
        if device is None:
            message = "This token is unknown, or it was revoked, or its member left. Issue a new one on the page Devices."
            raise AuthenticationFailed(message)
        return device.member.user, device

    def authenticate_header(self, request: Request) -> str:
        """What WWW-Authenticate says (RFC 6750): only a token that was sent can be called invalid."""
        return 'Bearer realm="Rivetloft"' + (', error="invalid_token"' if getattr(request, "token_sent", False) else "")


class MemberSession(SessionAuthentication):
    """A signed-in browser, which sends its CSRF token with whatever it writes.

    A page that stayed open says in `PAGE_OF` whose it is: where somebody else signed in meanwhile, it is refused, since what it has
    kept would count as theirs.
    """

    def authenticate(self, request: Request) -> tuple[Any, None] | None:
        """The user of the session, and no token."""
        found = super().authenticate(request)
        if found and request.headers.get(PAGE_OF, str(found[0].pk)) != str(found[0].pk):
            raise AuthenticationFailed("Somebody else signed in here meanwhile. Open the page again, or sign in as yourself.")
        return found


class ScopedMember(BasePermission):
    """Somebody signed in, or a device, in a workshop of theirs; and a device only where its token's scope reaches.

    A view says what each of its methods takes in `scopes`; else reading takes "read" and anything else "manage". A workshop that
    they don't work in doesn't exist for them.
    """

    def has_permission(self, request: Request, view: Any) -> bool:
        """False for a stranger, a 404 for who has no workshop here, and what is lacking for a device that may not."""
        if not (request.user and request.user.is_authenticated):
            return False
        if getattr(request, "workshop", None) is None:
            raise Http404
        if isinstance(request.auth, Device):
            policy.require_scope(request.auth, scope_of(view, request.method or ""))
        return True


class DeviceTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the API's description names it."""

    target_class = "inventory.workshop.authentication.DeviceToken"
    name = "deviceToken"
    priority = 1

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """A bearer token."""
        del auto_schema
        return {
            "type": "http",
            "scheme": "bearer",
            "bearerFormat": "rl_PREFIX_SECRET",
            "description": "A device's token, shown once where it is issued: the page Devices. Each operation names the scope that it "
            "takes: read, scan or manage, which includes the other two. A token in an address is never read.",
        }

    def get_security_requirement(self, auto_schema: Any) -> dict[str, list[str]]:
        """With the scope that the operation takes."""
        scope = scope_of(auto_schema.view, auto_schema.method)
        return {self.name: [] if scope == policy.ANY else [scope]}


class MemberSessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the API's description names it."""

    target_class = "inventory.workshop.authentication.MemberSession"
    name = "memberSession"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """A cookie, as signing in sets it."""
        del auto_schema
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
