"""How many requests the API takes of one caller in a minute, and what its answers say of that.

Counted here and not by DRF, which counts only whom it let in: a token that is no good, an address that isn't there and a refusal count
too, and every answer says what is left.

The fields are those of draft-ietf-httpapi-ratelimit-headers-11: RateLimit-Policy with quota `q` and window `w` in seconds, RateLimit with
what remains `r` and the seconds `t` until all of it is there again.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone

from inventory.common.documents import MEDIA_TYPE, document
from inventory.common.strays import is_api

WINDOW = 60  # seconds
_EXCEEDED = "https://iana.org/assignments/http-problem-types#quota-exceeded"  # the draft's type of problem


@dataclass(frozen=True, slots=True)
class Caller:
    """Who a request counts for: a device, a signed-in user, else an address. `quota` is what they have in a minute."""

    policy: str
    key: str
    quota: int


@dataclass(frozen=True, slots=True)
class Rate:
    """Where a caller stands: what is left of the quota, and in how many seconds all of it is there again."""

    caller: Caller
    used: int
    resets: int

    @property
    def exceeded(self) -> bool:
        """Whether this request is one too many."""
        return self.used > self.caller.quota

    @property
    def headers(self) -> dict[str, str]:
        """The fields of the draft; who is refused is also told when to come back."""
        caller, remaining = self.caller, max(self.caller.quota - self.used, 0)
        said = {
            "RateLimit-Policy": f'"{caller.policy}";q={caller.quota};w={WINDOW}',
            "RateLimit": f'"{caller.policy}";r={remaining};t={self.resets}',
        }
        return {**said, "Retry-After": str(self.resets)} if self.exceeded else said


class RateMiddleware:
    """Counts each request of the API, refuses one too many with 429, and says on every answer what is left."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Django gives the next handler."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Count, then go on or refuse."""
        if not is_api(request):
            return self.get_response(request)
        rate = count(caller_of(request), timezone.now())
        response = _refused(rate) if rate.exceeded else self.get_response(request)
        for name, value in rate.headers.items():
            response[name] = value
        return response


def caller_of(request: HttpRequest) -> Caller:
    """Who a request counts for. Tokens that are no good share the quota of strangers at their address: guessing soon ends."""
    device: Any = getattr(request, "device", None)
    if device is not None:
        return Caller("device", f"device-{device.pk}", settings.API_RATE)
    if request.user.is_authenticated:
        return Caller("user", f"user-{request.user.pk}", settings.API_RATE)
    return Caller("address", f"address-{request.META.get('REMOTE_ADDR', '')}", settings.API_STRANGERS_RATE)


def count(caller: Caller, now: datetime) -> Rate:
    """Count one request. Each caller's minutes begin on the clock's; the cache adds in one step, whoever else counts beside."""
    seconds = int(now.timestamp())
    window = seconds // WINDOW
    key = f"rate-{caller.key}-{window}"
    cache.add(key, 0, timeout=2 * WINDOW)
    try:
        used = cache.incr(key)
    except ValueError:  # a full cache dropped it between the two
        used = 1
    return Rate(caller, used, (window + 1) * WINDOW - seconds)


def _refused(rate: Rate) -> HttpResponse:
    said = f"{rate.caller.quota} requests a minute are taken of one {rate.caller.policy}: go on in {rate.resets} s"
    body = document(429, "Too many requests", said, **{"type": _EXCEEDED, "violated-policies": [rate.caller.policy]})
    return JsonResponse(body, status=429, content_type=MEDIA_TYPE)
