"""What the scan page's script says: the same texts as in its modules, here for translation."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext, pgettext_lazy

from inventory.common.script_texts import script_texts

ACTIONS = {
    "find": pgettext_lazy("scan", "find"),
    "tally": pgettext_lazy("scan", "tally"),
    "put": pgettext_lazy("scan", "put"),
    "take": pgettext_lazy("scan", "take"),
    "count": pgettext_lazy("scan", "count"),
    "open": pgettext_lazy("scan", "open"),
    "lend": pgettext_lazy("scan", "lend"),
    "return": pgettext_lazy("scan", "return"),
}
TEXTS = (
    # what became of a scan, and what was asked (answers.js)
    _("Waiting to be sent"),
    _("Older than a correction"),
    _("Undone"),
    _("Refused"),
    _("Written alike: %(names)s."),
    _("lot %(code)s"),
    _("Teach this code"),
    _("All about it"),
    *ACTIONS.values(),
    pgettext_lazy("scan", "in %(where)s"),
    pgettext_lazy("scan", "at %(time)s"),
    # the camera (camera.js)
    _("the decoder doesn't start"),
    # the outbox (listing.js)
    _("No network: they go out by themselves when it is back."),
    _("You are signed out: sign in again to send them."),
    _("The site doesn't answer just now: it is tried again."),
    _("%(waiting)s waiting, %(sent)s sent, %(refused)s refused"),
    _("Sign in"),
    pgettext_lazy("scan", "Sent"),
    _("Send again"),
    pgettext_lazy("scan", "Clear"),
    # of the sender, where a scan is undone
    _("There is no network: try again when it is back."),
    # a code is taken (page.js)
    _("No code"),
    _("Scan it, or type it first."),
    _("A label too new for this device"),
    _("Without a network it can't tell of what it is. Choose the place or bag by hand. Nothing was counted."),
    _("Place"),
    _("Bag"),
    _("It stands until you scan or choose another."),
    _("The quantity doesn't read"),
    _("Write it in digits, such as 12 or 0.5. Nothing was counted."),
    _("Not kept: scan it again"),
    _("This browser did not store the scan (%(why)s). Nothing was counted."),
    _("Kept, and on its way."),
    _("Kept on this device. It is sent when there is a network."),
    _("Torn read: scan it again"),
    _("The keys came too slowly or without Enter at the end. Nothing was counted."),
    _("This browser keeps no scans"),
    _("Its store can't be used (%(why)s): type codes below, each is sent at once."),
    # and undone
    _("%(code)s was not sent and does not count."),
    _("Not undone yet"),
    _("It may have counted: the site did not answer. Undo it once it has."),
    _("Not undone"),
    _("It does not count any more."),
    # the camera, and photos
    _("Browsers give a page the camera over HTTPS only."),
    _("The browser was told not to give the camera to this page."),
    _("The camera doesn't start (%(why)s)."),
    _("Take a photo below instead, or use a scanner."),
    _("No photo"),
    _("Choose or take one first."),
    _("Reading the photo"),
    _("No code in the photo"),
    _("Go closer, hold still, and give it light from the side."),
    _("%(count)s codes in the photo"),
    _("Choose the one that you mean."),
)
# of the service worker, where nobody is signed in: the browser's language decides
ABSENT = _("No network, and nobody is signed in on this device. Scans that are not sent yet stay here until you sign in again.")


def counted(number: int) -> list[str]:
    """What is said of so many scans: of those of others, and on signing out."""
    return [
        ngettext(
            "%(count)s scan of %(names)s on this device wait until they sign in here.",
            "%(count)s scans of %(names)s on this device wait until they sign in here.",
            number,
        ),
        ngettext(
            "%(count)s scan is not sent yet. They stay on this device, and go out when you sign in here again.",
            "%(count)s scans are not sent yet. They stay on this device, and go out when you sign in here again.",
            number,
        ),
    ]


def page_texts() -> str:
    """For the page, in the language in force."""
    return script_texts(TEXTS, counted)
