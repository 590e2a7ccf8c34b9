"""Reading the codes in a picture, as a scanner would: each with its symbology identifier before its text."""

from dataclasses import dataclass

import zxingcpp

from inventory.common.pictures import open_picture
from inventory.common.problems import Problem

# What labels and packing lists carry; each further symbology costs time and false reads.
FORMATS = (
    zxingcpp.QRCode,
    zxingcpp.MicroQRCode,
    zxingcpp.DataMatrix,
    zxingcpp.EANUPC,
    zxingcpp.Code128,
    zxingcpp.Code39,
    zxingcpp.ITF,
    zxingcpp.DataBar,
)
_PICTURES = {code: 0x2400 + code for code in range(32)}


@dataclass(frozen=True, slots=True)
class Found:
    """One code in a picture. `text` is all that a scanner would send: separators kept, the symbology identifier in front."""

    text: str
    symbology: str
    format: str

    @property
    def written(self) -> str:
        """The text with its control characters as pictures, which a form carries whole and reading takes for the bytes."""
        return self.text.translate(_PICTURES)

    @property
    def shown(self) -> str:
        """As people read it."""
        return self.written.removeprefix(self.symbology)


class NoCode(Problem):
    """The picture is fine, and shows no code."""

    status = 422
    title = "No code is in this picture"


def codes_in(data: bytes) -> tuple[Found, ...]:
    """The codes in a picture as it was sent, each once. Refuses what is no picture, and one without a code."""
    picture = open_picture(data).convert("L")
    # Plain text: the way that people read it puts brackets into GS1 data and pictures for the separators.
    read = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormats(FORMATS), text_mode=zxingcpp.TextMode.Plain)
    found = dict.fromkeys(Found(code.symbology_identifier + code.text, code.symbology_identifier, str(code.format)) for code in read)
    if not found:
        raise NoCode("No code can be read in this picture: go closer, hold still, and give it light from the side.")
    return tuple(found)
