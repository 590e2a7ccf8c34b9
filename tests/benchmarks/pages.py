"""How soon a page paints something: `python -m tests.benchmarks.pages`.

First contentful paint, as Chromium's own paint timing tells it, against the sign-in page of the same site in the same run: a ratio, since
a slow machine slows both. The demo, and a workshop of 12,000 lots with a plan of 3,000 steps and 25,000 call-outs. Each page was visited
once before, so its styles and scripts are there.
"""

import sys
from threading import Thread
from wsgiref.simple_server import WSGIRequestHandler, make_server

from tests.benchmarks import scene, shortfall

ROUNDS = 5
PAINT = """() => new Promise(done => {
    const found = performance.getEntriesByName("first-contentful-paint")[0];
    if (found) done(found.startTime);
    else new PerformanceObserver((list, self) => { self.disconnect(); done(list.getEntries()[0].startTime); })
        .observe({type: "paint", buffered: true});
})"""
SIZES = {"the demo": None, "12,000 lots": shortfall.FULL}


class _Quiet(WSGIRequestHandler):
    def log_message(self, *args):
        """Say nothing of each request."""


def serve():
    """The site on a free port, as gunicorn would serve it: its address."""
    from django.core.wsgi import get_wsgi_application

    server = make_server("127.0.0.1", 0, get_wsgi_application(), handler_class=_Quiet)
    Thread(target=server.serve_forever, daemon=True).start()
    return f"http://127.0.0.1:{server.server_port}"


def fill(sizes):
    """A workshop with somebody who owns it; the codes of its project and of one step."""
    from django.conf import settings
    from django.utils import timezone

    from buildplan.loading.demo import PROJECT, ensure_demo
    from inventory.models import Member, User

    if sizes is None:
        loaded = ensure_demo(settings.BASE_DIR / "fixtures", password="-", today=timezone.localdate())
        workshop, project, step = loaded.workshop, PROJECT, "F3-04"
    else:
        workshop, project = scene.fill(**sizes)
        project, step = project.code, "S5"
    user = User.objects.create_user(f"owner@{workshop.code.lower()}.example")
    Member._base_manager.create(workshop=workshop, user=user, name="Owner", role="owner")
    return user, project, step


def addresses(project, step):
    """What is measured, by name."""
    from django.urls import reverse

    return {
        "Tonight": reverse("home"),
        "Shelves": reverse("shelves"),
        "Order sheet": reverse("order-sheet", args=[project]),
        "Plan": reverse("plan", args=[project]),
        "Shelf life": reverse("shelf-life"),
        "a step": reverse("step", args=[project, step]),
    }


def measure(context, site, pages, rounds=ROUNDS):
    """The median paint of each page in ms; each has been visited once before."""
    page = context.new_page()
    found = {}
    for name, address in pages.items():
        times = []
        for _ in range(rounds + 1):
            page.goto(site + address)
            times.append(page.evaluate(PAINT))
        found[name] = sorted(times[1:])[rounds // 2]
    page.close()
    return found


def cookie(user):
    """A session of that person, for the browser."""
    from django.conf import settings
    from django.test import Client

    client = Client()
    client.force_login(user, "django.contrib.auth.backends.ModelBackend")
    return {"name": settings.SESSION_COOKIE_NAME, "value": client.cookies[settings.SESSION_COOKIE_NAME].value}


def main():
    """Print the table."""
    from playwright.sync_api import sync_playwright

    from tests import needs

    scene.start()
    filled = {name: fill(sizes) for name, sizes in SIZES.items()}
    cookies = {name: cookie(user) for name, (user, _, _) in filled.items()}
    site = serve()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=needs.chromium(), args=["--no-sandbox", "--disable-gpu"])
        stranger = browser.new_context(viewport={"width": 390, "height": 844})
        bare = measure(stranger, site, {"sign-in": "/sign-in/"})["sign-in"]
        for name, (_, project, step) in filled.items():
            context = browser.new_context(viewport={"width": 390, "height": 844})
            context.add_cookies([{**cookies[name], "url": site}])
            times = measure(context, site, addresses(project, step))
            told = "; ".join(f"{page} {paint / bare:.1f} ({paint:.0f} ms)" for page, paint in times.items())
            print(f"{name}: sign-in {bare:.0f} ms; times that: {told}")
            context.close()
        browser.close()


if __name__ == "__main__":
    sys.exit(main())
