"""What the scripts of a mix card and of a batch's clock say: the same texts as in them, here for translation."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from inventory.common.script_texts import script_texts

TEXTS = (
    # the clock of a batch (clock.js)
    _("%(time)s left"),
    _("over since %(time)s"),
    _("%(batch)s: its work life is over. Place no more of it."),
    # what a mix card keeps (keep.js)
    _("What you had typed here is back: it wasn't sent yet."),
    _("No network: nothing is sent yet. What you typed is kept here; press again when it is back."),
)


def counted(number: int) -> list[str]:
    """What is read out shortly before a batch's work life is over."""
    return [ngettext("%(batch)s: %(count)s minute left.", "%(batch)s: %(count)s minutes left.", number)]


def page_texts() -> str:
    """For the page, in the language in force."""
    return script_texts(TEXTS, counted)
