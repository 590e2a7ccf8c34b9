"""How the API knows its caller."""

from rest_framework.authentication import SessionAuthentication
from rest_framework.request import Request


class MemberSession(SessionAuthentication):
    """A signed-in browser. Naming a scheme makes DRF answer 401, not 403, to a caller who isn't signed in."""

    def authenticate_header(self, request: Request) -> str:
        """What WWW-Authenticate says."""
        del request
        return 'Session realm="Rivetloft"'
