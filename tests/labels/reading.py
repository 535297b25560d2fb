"""Labels as a scanner sees them: at 300 dots an inch, by a decoder that knows nothing of how they were made."""

from io import BytesIO

import pypdfium2
import resvg_py
import zxingcpp
from PIL import Image

DPI = 300


def read(picture: Image.Image) -> dict[str, list[str]]:
    """The texts of all symbols, by symbology."""
    found: dict[str, list[str]] = {"QR Code": [], "Code 128": []}
    for symbol in zxingcpp.read_barcodes(picture.convert("L")):
        found[str(symbol.format)].append(symbol.text)
    return {name: sorted(texts) for name, texts in found.items()}


def svg_read(svg: str) -> dict[str, list[str]]:
    return read(Image.open(BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=DPI)))))


def pdf_pages(pdf: bytes) -> list[tuple[dict[str, list[str]], str]]:
    """Of each page its symbols and its text."""
    with pypdfium2.PdfDocument(pdf) as document:
        return [(read(page.render(scale=DPI / 72).to_pil()), page.get_textpage().get_text_range()) for page in document]
