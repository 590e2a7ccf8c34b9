"""What a search found as other programs read it."""

from typing import Any

from buildplan.finding.shapes import Found, Group, Hit


def as_object(found: Found) -> dict[str, Any]:
    """One object; pages are addresses on this site."""
    return {
        "q": found.text,
        "exact": found.exact.address if found.exact else None,
        "groups": [_group(group) for group in found.groups],
        "near": [_group(group) for group in found.near],
        "unknown": found.unknown or None,
        "teach": found.teach,
    }


def _group(group: Group) -> dict[str, Any]:
    every = group.every.address if group.every else None
    return {"kind": group.kind, "label": group.label, "more": group.more, "all": every, "hits": [_hit(hit) for hit in group.hits]}


def _hit(hit: Hit) -> dict[str, Any]:
    named = {"id": hit.id, "code": hit.code, "name": hit.name, "what": hit.what, "where": hit.where, "line": hit.line}
    return {**named, "exact": hit.exact, "page": hit.to.address}
