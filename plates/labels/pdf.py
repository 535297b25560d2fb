"""Labels as PDF: a page a label, or a page a sheet."""

from collections.abc import Iterable, Sequence
from io import BytesIO

from reportlab.lib import units
from reportlab.pdfgen.canvas import Canvas

from plates.labels.layout import Label, Print, Rule, Text
from plates.labels.sheets import Size
from plates.lengths import MM


def labels_pdf(pages: Iterable[tuple[Size, Sequence[tuple[Label, tuple[int, int]]]]]) -> bytes:
    """Of each page its size and the labels on it, each with the place of its top left corner."""
    out = BytesIO()
    canvas = Canvas(out, invariant=1, pageCompression=1)
    canvas.setTitle("Labels")
    for size, placed in pages:
        tall = size.tall_nm / MM
        canvas.setPageSize((size.wide_nm / MM * units.mm, tall * units.mm))
        canvas.scale(units.mm, units.mm)
        for label, (x_nm, y_nm) in placed:
            for shape in label.shapes:
                _draw(canvas, shape, x_nm / MM, tall - y_nm / MM)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, shape: Text | Rule | Print, left: float, top: float) -> None:
    """In mm; a page of PDF begins at the bottom."""
    x, y = left + shape.x, top - shape.y
    if isinstance(shape, Text):
        canvas.setFont("Helvetica-Bold" if shape.bold else "Helvetica", shape.size)
        canvas.drawString(x, y, shape.said)
    elif isinstance(shape, Rule):
        canvas.setLineWidth(shape.thick)
        canvas.line(x, y, x + shape.wide, y)
    else:
        path = canvas.beginPath()
        for block in shape.symbol.blocks:
            tall = block.tall * shape.down
            path.rect(x + block.x * shape.across, y - block.y * shape.down - tall, block.wide * shape.across, tall)
        canvas.drawPath(path, stroke=0, fill=1)
