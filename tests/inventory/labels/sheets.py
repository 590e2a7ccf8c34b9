"""Printed sheets as a camera sees them."""

from pypdfium2 import PdfDocument

POINTS = 72  # in an inch


def pictures(pdf, dpi):
    """The pages of a PDF as pictures in grey."""
    with PdfDocument(pdf) as document:
        found = []
        for number in range(len(document)):
            page = document[number]
            found.append(page.render(scale=dpi / POINTS, grayscale=True).to_pil())
            page.close()
        return found


def words(pdf):
    """The text of a PDF's pages."""
    with PdfDocument(pdf) as document:
        found = []
        for number in range(len(document)):
            page = document[number]
            text = page.get_textpage()
            found.append(text.get_text_range())
            text.close()
            page.close()
        return found
