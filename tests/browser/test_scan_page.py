"""The scan page in a real browser: each way to give a code, without a network too, until the count stands in the database."""

import re
from decimal import Decimal
from http import HTTPStatus
from io import BytesIO

import pytest
import zxingcpp
from django.conf import settings
from django.urls import reverse
from django_scopes import scope
from PIL import Image
from playwright.sync_api import expect

from inventory.labels import services as labels
from inventory.models import Bag, Scan, Tally
from inventory.workshop import reading
from tests import factories
from tests.hands import until

pytestmark = pytest.mark.alike

RIVET = "MS20470AD4-6"
GTIN = "4006381333931"
WATCH = """
window.violations = [];
document.addEventListener("securitypolicyviolation", (event) => window.violations.push(`${event.violatedDirective} ${event.blockedURI}`));
"""
# What can be pressed and is smaller than a gloved finger wants.
SMALL = """
[...document.querySelectorAll("#scan :is(button, select, input:not([type=hidden], [type=radio], [type=checkbox]), label:has(input))")]
  .filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 48)
  .map(one => one.outerHTML)
"""
# What browsers take away from a page that comes without TLS.
INSECURE = """
delete Crypto.prototype.randomUUID;
for (const name of ["mediaDevices", "serviceWorker", "locks", "storage"])
  Object.defineProperty(Navigator.prototype, name, { value: undefined });
"""
KEPT = "async () => { await navigator.serviceWorker.ready; return Boolean(await caches.match('/scan/')); }"


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code=RIVET, name="Rivet, universal head", kind="rivet", identifiers=[GTIN])


@pytest.fixture
def bag(workshop, bench, rivet):
    crate = factories.CrateFactory(bench=bench, code="CRATE-7")
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    factories.PackingLineFactory(crate=crate, bag=bag, item=rivet, quantity=Decimal(500))
    return bag


@pytest.fixture
def label(bag, owner):
    (label,) = labels.ensure_labels(rows=[bag], by=owner)
    return label


@pytest.fixture
def told(page):
    """What the browser complains of: there must be nothing."""
    told = []
    page.on("console", lambda message: told.append(message.text) if message.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: told.append(str(error)))
    page.add_init_script(WATCH)
    return told


@pytest.fixture
def scan_page(page, live_server, signed_in, builder, bag, told):
    """The page, ready to scan, tallying into the bag."""
    signed_in(builder)
    page.goto(live_server.url + reverse("scan"))
    expect(page.locator("#outbox-state")).to_be_visible()
    page.get_by_label("Tally a bag").check()
    page.get_by_label("Bag", exact=True).select_option("CRATE-7/7A")
    return page


def type_code(page, text):
    page.get_by_label("Code", exact=True).fill(text)
    page.get_by_role("button", name="Enter the code").click()


def counted(workshop):
    with scope(workshop=workshop):
        return sum(Tally.objects.values_list("quantity", flat=True))


def sent(page, text):
    expect(page.locator("#outbox-counts")).to_have_text(text)


def keys(page, text, gaps=5.0, at=None):
    """Keys as a scanner sends them, each with its own time: `gaps` ms apart, or one gap for each key."""
    session = page.context.new_cdp_session(page)
    gaps = [gaps] * len(text) if isinstance(gaps, float) else gaps
    time = page.evaluate("performance.timeOrigin + performance.now()") if at is None else at
    for character, gap in zip(text, gaps, strict=True):
        time += gap
        press(session, character, time / 1000)
    session.detach()
    return time


def press(session, character, time):
    named = {"\n": {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}}
    held = {"\x1d": {"key": "]", "code": "BracketRight", "modifiers": 2, "windowsVirtualKeyCode": 221}}
    what = named.get(character) or held.get(character) or {"key": character, "text": character}
    session.send("Input.dispatchKeyEvent", {"type": "keyDown", "timestamp": time, **what})
    session.send("Input.dispatchKeyEvent", {"type": "keyUp", "timestamp": time, **{name: what[name] for name in what if name != "text"}})


def test_typed_scan_is_counted_and_told_large(scan_page, workshop):
    scan_page.get_by_label("Quantity").fill("100")
    type_code(scan_page, RIVET)

    expect(scan_page.locator("#result-head")).to_have_text(f"100 ea {RIVET}")
    expect(scan_page.locator("#result-text")).to_contain_text("counted in CRATE-7/7A")
    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 100


def test_without_https_it_counts_and_says_why_there_is_no_camera(scan_page, workshop):
    scan_page.add_init_script(INSECURE)
    scan_page.reload()
    type_code(scan_page, RIVET)

    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    expect(scan_page.locator("#camera-why")).to_contain_text("over HTTPS only")
    assert counted(workshop) == 1


def test_quantity_is_for_one_scan_and_the_bag_stands(scan_page, workshop):
    scan_page.get_by_label("Quantity").fill("100")
    type_code(scan_page, RIVET)
    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    type_code(scan_page, RIVET)
    sent(scan_page, "0 waiting, 2 sent, 0 refused")

    assert counted(workshop) == 101
    scan_page.reload()
    expect(scan_page.get_by_label("Bag", exact=True)).to_have_value("CRATE-7/7A")


def test_button_pressed_twice_counts_once(scan_page, workshop):
    scan_page.get_by_label("Code", exact=True).fill(RIVET)
    scan_page.get_by_role("button", name="Enter the code").dblclick()

    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 1


def test_scanner_s_burst_is_read_whole_wherever_the_focus_is(scan_page, workshop):
    for focus in ("#id_code", "#id_quantity", "#id_place", "#undo"):
        scan_page.evaluate("selector => document.querySelector(selector).focus()", focus)
        keys(scan_page, f"]d201{GTIN:0>14}10AB1\x1d17270301\n")

    sent(scan_page, "0 waiting, 4 sent, 0 refused")
    with scope(workshop=workshop):
        assert set(Scan.objects.values_list("code", flat=True)) == {f"]d201{GTIN:0>14}10AB1\x1d17270301"}
        assert counted(workshop) == 4
    expect(scan_page.get_by_label("Code", exact=True)).to_have_value("")
    expect(scan_page.get_by_label("Quantity")).to_have_value("")


def test_torn_burst_is_dropped_and_said(scan_page, workshop):
    text = f"]C0{RIVET}\n"
    scan_page.get_by_label("Code", exact=True).focus()
    keys(scan_page, text, [5.0] * 8 + [81.0] + [5.0] * (len(text) - 9))

    expect(scan_page.locator("#result-head")).to_contain_text("Torn read")
    expect(scan_page.get_by_label("Code", exact=True)).to_have_value("")
    sent(scan_page, "0 waiting, 0 sent, 0 refused")
    keys(scan_page, text, [80.0] * len(text))
    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 1


def test_burst_without_enter_at_its_end_is_said(scan_page):
    keys(scan_page, f"]C0{RIVET}")

    expect(scan_page.locator("#result-head")).to_contain_text("Torn read")
    expect(scan_page.get_by_label("Code", exact=True)).to_have_value("")


def test_slow_bracket_is_a_person_s(scan_page, workshop):
    scan_page.get_by_label("Code", exact=True).focus()
    keys(scan_page, f"]C0{RIVET}\n", 200.0)

    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    with scope(workshop=workshop):
        assert Scan.objects.get().code == f"]C0{RIVET}"


def test_label_of_a_bag_sets_the_bag_and_moves_nothing(scan_page, label, workshop):
    scan_page.get_by_label("Bag", exact=True).select_option("")
    keys(scan_page, f"]Q1https://hangar.example/t/{label.token.lower()}\n")

    expect(scan_page.get_by_label("Bag", exact=True)).to_have_value("CRATE-7/7A")
    expect(scan_page.locator("#result-head")).to_have_text("Bag CRATE-7: 7A")
    with scope(workshop=workshop):
        assert not Scan.objects.exists()


def test_label_printed_meanwhile_is_known_at_once(scan_page, bag, owner, workshop):
    (label,) = labels.ensure_labels(rows=[bag], by=owner)
    scan_page.get_by_label("Bag", exact=True).select_option("")
    keys(scan_page, f"]Q1{label.token}\n")

    expect(scan_page.get_by_label("Bag", exact=True)).to_have_value("CRATE-7/7A")


def test_label_too_new_for_a_device_without_a_network_is_refused(scan_page, context, bag, owner, workshop):
    """Kept as a scan, it would leave the bag before it standing, and what follows would be counted there."""
    (label,) = labels.ensure_labels(rows=[bag], by=owner)
    until(scan_page, KEPT)
    context.set_offline(True)
    keys(scan_page, f"]Q1{label.token}\n")

    expect(scan_page.locator("#result-head")).to_have_text("A label too new for this device")
    sent(scan_page, "0 waiting, 0 sent, 0 refused")


def test_one_of_several_lots_is_chosen(scan_page, signed_in, owner, bench, rivet, drawer, workshop):
    lots = [factories.LotFactory(bench=bench, item=rivet, code=code) for code in ("R7", "R8")]
    for lot in lots:
        factories.stock(lot, 50, drawer)
    scan_page.get_by_label("Take", exact=True).check()
    scan_page.get_by_label("Quantity").fill("2")
    type_code(scan_page, RIVET)
    scan_page.get_by_role("button", name="lot R8").click()

    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    expect(scan_page.locator("#result-text")).to_contain_text("R8")
    with scope(workshop=workshop):
        assert lots[1].holdings.get().quantity == 48


def test_unknown_code_is_shown_until_it_is_cleared(scan_page, told):
    type_code(scan_page, "NOBODY-KNOWS-ME")

    expect(scan_page.locator("#result-head")).to_contain_text("not known here")
    sent(scan_page, "0 waiting, 0 sent, 1 refused")
    scan_page.reload()
    sent(scan_page, "0 waiting, 0 sent, 1 refused")
    expect(scan_page.locator("#rows")).to_contain_text("nothing here has this code")
    scan_page.get_by_role("button", name=re.compile("Clear.*NOBODY-KNOWS-ME")).click()
    sent(scan_page, "0 waiting, 0 sent, 0 refused")
    assert told == []


def test_last_scan_is_undone(scan_page, workshop):
    type_code(scan_page, RIVET)
    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    scan_page.get_by_role("button", name="Undo the last one").click()

    expect(scan_page.locator("#result-head")).to_have_text("Undone")
    assert counted(workshop) == 0


def test_scan_that_waits_is_undone_on_the_device(scan_page, context, workshop):
    context.set_offline(True)
    type_code(scan_page, RIVET)
    sent(scan_page, "1 waiting, 0 sent, 0 refused")
    scan_page.get_by_role("button", name="Undo the last one").click()
    sent(scan_page, "0 waiting, 0 sent, 0 refused")
    context.set_offline(False)

    assert counted(workshop) == 0


def test_fifty_scans_without_a_network_count_fifty(scan_page, context, workshop, told):
    until(scan_page, KEPT)
    context.set_offline(True)
    for n in range(25):
        type_code(scan_page, RIVET)
        sent(scan_page, f"{n + 1} waiting, 0 sent, 0 refused")
    scan_page.reload()
    sent(scan_page, "25 waiting, 0 sent, 0 refused")
    for n in range(25):
        type_code(scan_page, RIVET)
        sent(scan_page, f"{n + 26} waiting, 0 sent, 0 refused")
    assert counted(workshop) == 0

    context.set_offline(False)
    sent(scan_page, "0 waiting, 50 sent, 0 refused")
    with scope(workshop=workshop):
        assert Scan.objects.count() == Tally.objects.count() == 50
    assert counted(workshop) == 50
    assert scan_page.evaluate("window.violations") == []


def test_german_is_spoken_without_a_network_too(page, context, live_server, signed_in, builder, bag):
    """The kept page has its script's texts in the language of who reads it, and tells one from many."""
    reading.set_own(member=builder, by=builder, language="de")
    signed_in(builder)
    page.goto(live_server.url + reverse("scan"))
    until(page, KEPT)
    context.set_offline(True)
    page.reload()
    page.get_by_label("Code", exact=True).fill(RIVET)
    page.get_by_label("Code", exact=True).press("Enter")

    sent(page, "1 warten, 0 gesendet, 0 abgewiesen")
    expect(page.locator("#outbox-why")).to_have_text("Kein Netz: sie gehen von selbst hinaus, wenn es wieder da ist.")
    expect(page.locator("#result-text")).to_have_text("Auf diesem Gerät behalten. Er wird gesendet, wenn es ein Netz gibt.")
    expect(page.locator("#rows li")).to_contain_text(re.compile(r"Wartet aufs Senden.*finden um \d\d:\d\d"))
    page.get_by_role("button", name="Abmelden", exact=True).click()
    expect(page.get_by_role("dialog")).to_contain_text("1 Scan ist noch nicht gesendet.")


def picture_of(text, form, **options):
    """A code in the middle of a grey 640 x 480 picture, as a camera would see it."""
    symbol = Image.fromarray(zxingcpp.create_barcode(text, form, **options).to_image(scale=5, add_quiet_zones=True))
    frame = Image.new("L", (640, 480), 180)
    frame.paste(symbol, ((640 - symbol.width) // 2, (480 - symbol.height) // 2))
    return frame


SHOWN = {
    "]Q1http://hangar.example/t/none": picture_of("http://hangar.example/t/none", zxingcpp.QRCode),
    f"]d2010{GTIN}10AB1\x1d17270301": picture_of(f"(01)0{GTIN}(10)AB1(17)270301", zxingcpp.DataMatrix, gs1=True),
    f"]E0{GTIN}": picture_of(GTIN, zxingcpp.EAN13),
}


def photo(*frames):
    """A photo of codes below each other."""
    whole = Image.new("L", (640, 480 * len(frames)), 180)
    for n, frame in enumerate(frames):
        whole.paste(frame, (0, 480 * n))
    file = BytesIO()
    whole.save(file, "JPEG")
    return {"name": "bag.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


def test_photo_with_one_code_is_taken_at_once(scan_page, workshop):
    scan_page.get_by_label("Photo", exact=True).set_input_files(photo(SHOWN[f"]E0{GTIN}"]))
    scan_page.get_by_role("button", name="Read the codes in it").click()

    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 1


def test_photo_with_two_codes_asks_which(scan_page, workshop):
    scan_page.get_by_label("Photo", exact=True).set_input_files(photo(*list(SHOWN.values())[1:]))
    scan_page.get_by_role("button", name="Read the codes in it").click()
    scan_page.get_by_role("button", name=f"010{GTIN}10AB1␝17270301").click()

    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 1


def test_photo_without_a_network_is_read_here(scan_page, context, workshop):
    until(scan_page, KEPT)
    context.set_offline(True)
    scan_page.get_by_label("Photo", exact=True).set_input_files(photo(SHOWN[f"]E0{GTIN}"]))
    scan_page.get_by_role("button", name="Read the codes in it").click()

    sent(scan_page, "1 waiting, 0 sent, 0 refused")
    context.set_offline(False)
    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 1


def test_photo_without_a_code_says_what_would_do(scan_page):
    scan_page.get_by_label("Photo", exact=True).set_input_files(photo(Image.new("L", (640, 480), 200)))
    scan_page.get_by_role("button", name="Read the codes in it").click()

    expect(scan_page.locator("#result-text")).to_contain_text("go closer")


def test_signing_out_warns_of_scans_that_wait_and_keeps_them(scan_page, context, workshop, signed_in, builder, live_server):
    until(scan_page, KEPT)
    scan_page.route("**/api/v1/scans*", lambda route: route.abort())
    type_code(scan_page, RIVET)
    sent(scan_page, "1 waiting, 0 sent, 0 refused")
    scan_page.get_by_role("button", name="Sign out", exact=True).click()
    expect(scan_page.get_by_role("dialog")).to_contain_text("1 scan is not sent yet")
    scan_page.get_by_role("button", name="Stay here").click()
    scan_page.get_by_role("button", name="Sign out", exact=True).click()
    scan_page.get_by_role("button", name="Sign out all the same").click()
    scan_page.wait_for_url("**/sign-in/")

    assert scan_page.evaluate("caches.match('/scan/').then(found => found === undefined)")
    scan_page.unroute("**/api/v1/scans*")
    signed_in(builder)
    scan_page.goto(live_server.url + reverse("scan"))
    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 1


def test_signing_out_elsewhere_forgets_the_page(scan_page, live_server):
    until(scan_page, KEPT)
    scan_page.goto(live_server.url + reverse("crates"))
    scan_page.get_by_role("button", name="Sign out", exact=True).click()
    scan_page.wait_for_url("**/sign-in/")

    assert scan_page.evaluate("caches.match('/scan/').then(found => found === undefined)")


def test_scans_of_one_person_are_not_sent_by_another(scan_page, signed_in, storekeeper, builder, live_server, workshop):
    scan_page.route("**/api/v1/scans*", lambda route: route.abort())
    type_code(scan_page, RIVET)
    sent(scan_page, "1 waiting, 0 sent, 0 refused")
    signed_in(storekeeper)
    scan_page.unroute("**/api/v1/scans*")
    scan_page.evaluate("dispatchEvent(new Event('online'))")
    expect(scan_page.locator("#outbox-why")).to_contain_text("You are signed out")  # the page still is the other person's
    assert counted(workshop) == 0
    scan_page.goto(live_server.url + reverse("scan"))

    sent(scan_page, "0 waiting, 0 sent, 0 refused")
    expect(scan_page.locator("#others")).to_have_text(f"1 scan of {builder.name} on this device wait until they sign in here.")
    assert counted(workshop) == 0


def test_answer_that_gets_lost_counts_once(scan_page, workshop):
    """The server acts, its answer never comes: the scan waits on, is sent again, and counts once."""

    lost = []

    def lose(route):
        if not lost:
            lost.append(route.fetch().status)
        route.abort()

    scan_page.route("**/api/v1/scans*", lose)
    type_code(scan_page, RIVET)
    expect(scan_page.locator("#outbox-why")).to_contain_text("No network")
    scan_page.get_by_role("button", name="Undo the last one").click()
    expect(scan_page.locator("#result-head")).to_have_text("Not undone yet")
    assert lost == [HTTPStatus.MULTI_STATUS]
    scan_page.unroute("**/api/v1/scans*")

    sent(scan_page, "0 waiting, 1 sent, 0 refused")
    assert counted(workshop) == 1


def test_signed_out_meanwhile_says_so_and_keeps(scan_page, context):
    context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    type_code(scan_page, RIVET)

    expect(scan_page.locator("#outbox-why")).to_contain_text("You are signed out")
    sent(scan_page, "1 waiting, 0 sent, 0 refused")


def test_page_is_usable_by_everyone(scan_page, axe, told):
    for code in (RIVET, "NOBODY-KNOWS-ME"):
        type_code(scan_page, code)
    sent(scan_page, "0 waiting, 1 sent, 1 refused")

    axe(scan_page)
    small = scan_page.evaluate(SMALL)
    assert small == []
    assert told == []
    assert scan_page.evaluate("window.violations") == []


@pytest.fixture
def plain_page(browser, live_server, client, builder, bag):
    """The page without JavaScript."""
    context = browser.new_context(java_script_enabled=False)
    client.force_login(builder.user, backend="django.contrib.auth.backends.ModelBackend")
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + reverse("scan"))
    yield page
    context.close()


def test_typed_code_without_javascript_is_counted(plain_page, workshop):
    plain_page.get_by_label("Tally a bag").check()
    plain_page.get_by_label("Bag", exact=True).select_option("CRATE-7/7A")
    plain_page.get_by_label("Quantity").fill("100")
    type_code(plain_page, RIVET)

    expect(plain_page.get_by_role("status")).to_contain_text(f"100 ea of {RIVET} counted in CRATE-7/7A")
    expect(plain_page.get_by_label("Bag", exact=True)).to_have_value("CRATE-7/7A")
    assert counted(workshop) == 100


def test_photo_without_javascript_offers_its_codes(plain_page, workshop):
    plain_page.get_by_label("Tally a bag").check()
    plain_page.get_by_label("Bag", exact=True).select_option("CRATE-7/7A")
    plain_page.get_by_label("Photo", exact=True).set_input_files(photo(*list(SHOWN.values())[1:]))
    plain_page.get_by_role("button", name="Read the codes in it").click()
    plain_page.get_by_role("button", name=re.compile(f"Tally a bag.*010{GTIN}10AB1␝17270301")).click()

    expect(plain_page.get_by_role("status")).to_contain_text(f"1 ea of {RIVET} counted in CRATE-7/7A")
    with scope(workshop=workshop):
        assert Tally.objects.get().lot_code == "AB1"


@pytest.fixture
def video(tmp_path):
    """A film of each code for a second, as Chromium's camera plays it over and over: raw frames, luma and two flat planes of colour."""
    frames = b"".join(b"FRAME\n" + frame.tobytes() + b"\x80" * (640 * 480 // 2) for frame in SHOWN.values() for _ in range(10))
    path = tmp_path / "camera.y4m"
    path.write_bytes(b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n" + frames)
    return path


@pytest.fixture
def page_with_camera(browser_type, browser_type_launch_args, video, live_server, client, builder, bag):
    camera = [
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={video}",
    ]
    browser = browser_type.launch(**{**browser_type_launch_args, "args": [*browser_type_launch_args["args"], *camera]})
    page = browser.new_page()
    client.force_login(builder.user, backend="django.contrib.auth.backends.ModelBackend")
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])
    page.goto(live_server.url + reverse("scan"))
    yield page
    browser.close()


def test_camera_reads_qr_data_matrix_and_ean(page_with_camera, workshop):
    page = page_with_camera
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    complaints = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.get_by_role("button", name="Use the camera").click()

    expect(page.locator("#rows li")).to_have_count(len(SHOWN), timeout=60_000)
    page.get_by_role("button", name="Stop the camera").click()
    expect(page.locator("#outbox-counts")).to_contain_text("0 waiting")
    with scope(workshop=workshop):
        assert set(Scan.objects.values_list("code", flat=True)) == set(SHOWN)
    assert not [address for address in asked if not address.startswith(page.url.split("/scan/")[0])]
    assert complaints == []
