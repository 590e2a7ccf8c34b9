"""Proves that every holding is the sum of its movements."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from decimal import Decimal
from typing import Any

from buildplan.management.base import SiteCommand
from inventory.common.fields import plain
from inventory.stock.queries import LedgerError, ledger_errors


class Command(SiteCommand):
    help = "Compares every holding with the sum of its movements. Exit 0 if they agree, 1 if any differs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="print for a program")

    def handle(self, *_: Any, **options: Any) -> None:
        errors = ledger_errors()
        self.stdout.write(_json(errors) if options["json"] else _text(errors))
        if errors:
            raise SystemExit(1)


def _text(errors: list[LedgerError]) -> str:
    if not errors:
        return "The ledger holds: every holding is the sum of its movements."
    return "\n".join(
        f"{error.workshop}: {error.item}, lot {error.lot or f'without a code (id {error.lot_id})'}, in {error.place}: "
        f"the holding says {plain(error.holding)} {error.unit}, its movements add up to {plain(error.movements)}"
        for error in errors
    )


def _json(errors: list[LedgerError]) -> str:
    found = [{name: plain(value) if isinstance(value, Decimal) else value for name, value in asdict(error).items()} for error in errors]
    return json.dumps({"holds": not errors, "differences": found}, indent=2)
