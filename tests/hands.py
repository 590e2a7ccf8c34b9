"""A person at the site: what they press, write and see, with a mouse, by touch, or by keyboard alone."""

from playwright.sync_api import expect

MOST_TABS = 150  # more than any page has between two of its own controls
REACHED = """one => one === document.activeElement || (one.type === 'radio' && one.name === document.activeElement.name
    && one.form === document.activeElement.form)"""
BEFORE = "one => !!(document.activeElement.compareDocumentPosition(one) & Node.DOCUMENT_POSITION_PRECEDING)"
FROM_THE_TOP = "document.activeElement === document.body"
SKIPS = "document.activeElement.matches('a.skip')"
RING = """() => {
    const one = document.activeElement, look = getComputedStyle(one), box = one.getBoundingClientRect();
    const ring = (look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) > 0) || look.boxShadow !== 'none';
    return ring && box.bottom > 0 && box.top < innerHeight;
}"""
BEYOND = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
LOOKS, BETWEEN = 600, 50  # how often a page is asked, and milliseconds between


def until(page, is_so):
    """Wait until a page says so. Playwright's own wait evaluates in the page, which the site's policy forbids once it isn't so at once."""
    for _ in range(LOOKS):
        if page.evaluate(is_so):
            return
        page.wait_for_timeout(BETWEEN)
    raise AssertionError(f"{page.url}: it never came to be so: {is_so}")


class Hands:
    """A mouse. Controls are named as they are read, so that what has no name can't be used.

    Journeys say what they see after each press: a page that hasn't come yet is waited for there.
    """

    def __init__(self, page, url):
        self.page, self.url = page, url

    def start(self):
        """Where everybody starts: the page after signing in."""
        self.page.goto(f"{self.url}/")

    def sees(self, *texts):
        for text in texts:
            expect(self.page.locator("main").get_by_text(text).locator("visible=true").first).to_be_visible()
        self.page.wait_for_load_state()  # text is there before the style that lays it out
        assert self.page.evaluate(BEYOND) <= 0, f"{self.page.url} scrolls sideways"

    def at(self, heading):
        """Come to a page of this heading."""
        expect(self.page.get_by_role("heading", level=1)).to_contain_text(heading)

    def follow(self, name, *, exact=False):
        self._press(self.page.get_by_role("link", name=name, exact=exact).first)

    def press(self, name, *, exact=False):
        self._press(self.page.get_by_role("button", name=name, exact=exact).first)

    def unfold(self, name):
        self._press(self.page.locator("summary").filter(has_text=name).first)

    def tick(self, name):
        """Tick a box, or choose one of several by its own label."""
        box = self.page.get_by_label(name).first
        self._tick(box)
        expect(box).to_be_checked()

    def write(self, label, text):
        self._write(self.page.get_by_label(label, exact=True).first, text)

    def say_day(self, label, day):
        field = self.page.get_by_label(label, exact=True).first
        self._write_day(field, day)
        expect(field).to_have_value(day.isoformat())

    def find(self, text):
        """Look for something in the field on top of each page."""
        field = self.page.get_by_role("searchbox", name="Find anything")
        self._write(field, text)
        field.press("Enter")

    def give(self, label, *named):
        """Hand over files: pairs of a name and what stands in it."""
        files = [{"name": name, "mimeType": "text/csv", "buffer": text.encode()} for name, text in named]
        with self.page.expect_file_chooser() as chosen:
            self._press(self.page.get_by_label(label, exact=True))
        chosen.value.set_files(files)

    def _press(self, control):
        control.click()

    def _tick(self, box):
        box.check()

    def _write(self, field, text):
        field.fill(text)

    def _write_day(self, field, day):
        field.fill(day.isoformat())


class Touch(Hands):
    """A finger on a phone."""

    def _press(self, control):
        control.tap()

    def _tick(self, box):
        if not box.is_checked():
            box.tap()


class Keys(Hands):
    """No mouse: a control is reached by Tab, shows that it is, and is used by its keys."""

    def reach(self, control):
        control.wait_for()
        self.page.wait_for_load_state()
        one = control.element_handle()
        if self.page.evaluate(FROM_THE_TOP) and one.evaluate("one => !!one.closest('main')"):
            self._skip_to_the_content()
        for _ in range(MOST_TABS):
            if one.evaluate(REACHED):
                return until(self.page, RING)
            self.page.keyboard.press("Shift+Tab" if one.evaluate(BEFORE) else "Tab")
        raise AssertionError(f"no Tab comes to {control}")

    def _skip_to_the_content(self):
        """The first Tab of a page offers it; of a page that came to a part of itself, the Tab goes on from there."""
        self.page.keyboard.press("Tab")
        if self.page.evaluate(SKIPS):
            self.page.keyboard.press("Enter")
            expect(self.page.locator("main")).to_be_focused()

    def _press(self, control):
        self.reach(control)
        self.page.keyboard.press("Enter")

    def _tick(self, box):
        self.reach(box)
        if box.get_attribute("type") != "radio":
            return None if box.is_checked() else self.page.keyboard.press("Space")
        for _ in range(MOST_TABS):
            if box.is_checked():
                return None
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"no arrow comes to {box}")

    def _write(self, field, text):
        self.reach(field)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)

    def _write_day(self, field, day):
        self.reach(field)
        self.page.keyboard.type(f"{day:%m%d%Y}")  # as a browser set to American English wants it
