"""The README's pictures, made from the demo: `python -m tests.browser.screenshots`. Writes docs/screens/."""

import json
import os
import re
import subprocess
import sys
import tempfile
import time
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests import needs

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
ROOT = Path(__file__).resolve().parents[2]
PORT = 8765
ADDRESS = f"http://127.0.0.1:{PORT}"
SEALING = timedelta(days=25)
PAGES = {
    "order-sheet": ("/projects/TERN-1/order-sheet/?before={sealing}", "light", 1100),
    "step": ("/projects/TERN-1/steps/F3-04/", "light", 1100),
    "plan": ("/projects/TERN-1/plan/", "light", 1100),
    "shelves": ("/shelves/", "light", 1100),
    "pins": ("/projects/TERN-1/pins/?before={sealing}", "light", 1100),
    "bench-figures": ("/figures/rivet-length/?grip=0.064&diameter=1%2F8&policy=up_half", "light", 1100),
    "receipt": ("/crates/1/receipt/", "light", 1100),
    "tonight": ("/?minutes=120&people=2", "light", 1100),
    "club-day": ("/club/day/?day={saturday}", "light", 1100),
    "seal-day": ("/seal-days/1/", "light", 1100),
    "phone-mix": ("/seal-days/1/mix/1/", "dark", 390),
    "phone-count": ("/crates/1/count/", "light", 390),
    "phone-scan": ("/scan/", "dark", 390),
    "phone": ("/projects/TERN-1/order-sheet/?before={sealing}", "dark", 390),
    "trace": ("/trace/?code=B-900", "light", 1100),
}


def main():
    """Start the demo on a file of its own, photograph its pages, end it."""
    folder = Path(tempfile.mkdtemp())
    environment = {**os.environ, "DATABASE_URL": f"sqlite:///{folder / 'demo.sqlite3'}"}
    log = folder / "log"
    with log.open("w") as out:
        server = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", str(PORT)], cwd=ROOT, env=environment, stdout=out, stderr=out
        )
    try:
        wait()
        link = re.search(r"http://\S+/sign-in/link/\S+", log.read_text())[0]
        count_some(re.search(r"Device +(\S+)", log.read_text())[1])
        photograph(link)
    finally:
        server.terminate()
        server.wait()


def count_some(token):
    """Take the crate in and count two of its bags, one of them short and with a dented rib, so that its pages have something to show."""

    def ask(path, body=None):
        headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        data = None if body is None else json.dumps(body).encode()
        asked = urllib.request.Request(f"{ADDRESS}/api/v1/{path}", data, headers)  # noqa: S310 - our own address
        with urllib.request.urlopen(asked, timeout=30) as answer:  # noqa: S310 - likewise
            return json.load(answer)

    [crate] = ask("crates?code=CRATE-7")["results"]
    bags = {bag["path"]: bag["id"] for bag in ask(f"bags?crate={crate['code']}")["results"]}
    ask(f"crates/{crate['id']}/arrived", {})
    for line in ask(f"lines?crate={crate['code']}")["results"]:
        if line["bag"] in {"7A/2", "7B"}:
            short = 6 if line["item"] == "MS20470AD4-6" else 0
            counted = str(int(line["quantity"]) - short)
            ask("tallies", {"line": line["id"], "quantity": counted, "finding": "good"})
    ask("tallies", {"bag": bags["7A/3"], "item": "FUS.501", "quantity": "1", "finding": "damaged", "note": "flange dented"})
    ask(f"bags/{bags['7B']}/finish", {})
    ask(f"crates/{crate['id']}/put-away", {"place": "Hangar/Rack 2/Drawer 7", "bag": bags["7B"]})


def wait():
    """Until the demo answers."""
    for _ in range(300):
        try:
            urllib.request.urlopen(ADDRESS, timeout=5).close()
        except OSError:
            time.sleep(0.2)
        else:
            return


def contested(today):
    """The day that both projects of the demo want: the first Saturday at least five days off (fixtures/README.md)."""
    return today + timedelta(days=5 + (5 - (today + timedelta(days=5)).weekday()) % 7)


def photograph(link):
    """Sign in once, then one picture a page."""
    target = ROOT / "docs" / "screens"
    target.mkdir(exist_ok=True)
    today = datetime.now(UTC).date()
    days = {"sealing": today + SEALING, "saturday": contested(today)}
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=needs.chromium(), args=FLAGS)
        context = browser.new_context()
        page = context.new_page()
        page.goto(link)
        page.locator("form button").first.click()
        state = context.storage_state()
        for name, (address, scheme, width) in PAGES.items():
            shot = browser.new_context(storage_state=state, color_scheme=scheme, viewport={"width": width, "height": 820})
            page = shot.new_page()
            page.goto(ADDRESS + address.format(**days))
            page.screenshot(path=target / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    main()
