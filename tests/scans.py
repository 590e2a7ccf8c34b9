"""Scans as tests send them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

from inventory.scanning import services
from inventory.scanning.services import ScanData

NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


def scan(code, action="find", **given):
    """A scan of a moment ago, by a clock that is right."""
    if "quantity" in given and given["quantity"] is not None:
        given["quantity"] = Decimal(given["quantity"])
    base = ScanData(uuid=uuid4(), code=code, action=action, at=NOW - timedelta(minutes=1), device_time=NOW)
    return replace(base, **given)


def act(by, *scans, now=NOW):
    """Send them; the answers."""
    return services.act(scans=scans, by=by, device=None, now=now)


def one(by, code, action="find", *, now=NOW, **given):
    """Send one; its answer."""
    return act(by, scan(code, action, **given), now=now)[0]


def as_json(scans):
    """The body of a request."""
    return {"scans": [{"uuid": str(one.uuid), "code": one.code, "action": one.action, **_said(one)} for one in scans]}


def _said(one):
    asked = {name: value for name, value in one.asked().items() if value not in {None, ""}}
    return {"device_time": one.device_time.isoformat(), **asked}
