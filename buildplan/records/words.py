"""Words of what is reckoned for a step that its page shows beside each figure: English in Python and in the API, here for translation."""

from django.utils.translation import gettext_noop

TOOLS = (
    gettext_noop("pilot"),
    gettext_noop("final"),
    gettext_noop("deburr"),
    gettext_noop("deburring tool"),
    gettext_noop("countersink"),
    gettext_noop("countersink or dimple"),
    gettext_noop("dimple"),
)
CHECKS = (
    gettext_noop("driven head, rule of thumb: 1.5 D wide"),
    gettext_noop("driven head, rule of thumb: 0.5 D high"),
    gettext_noop("driven head, never under 1.3 D wide"),
    gettext_noop("driven head, never under 0.3 D high"),
    gettext_noop("edge distance at least 2 D"),
    gettext_noop("pitch never under 3 D"),
    gettext_noop("pitch seldom under 4 D"),
    gettext_noop("pitch seldom over 8 D"),
)
