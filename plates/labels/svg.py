"""Labels as SVG: attributes alone, no style, so that any policy of a page lets it be seen. A unit is 0.01 mm."""

from collections.abc import Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from plates.labels.layout import Label, Print, Rule, Text
from plates.labels.sheets import Sheet, Size
from plates.lengths import MM

UNIT_NM = MM // 100


def label_svg(label: Label) -> SafeString:
    """One label, as large as it is."""
    return _picture(label.size, label.said, [_drawn(label)])


def sheet_svg(sheet: Sheet, placed: Sequence[tuple[Label, tuple[int, int]]]) -> SafeString:
    """A sheet, with the edges of its labels thin and dashed, for the eye only."""
    edge = format_html(
        '<rect width="{}" height="{}" fill="none" stroke="#888" stroke-width="20" stroke-dasharray="80 80"/>',
        sheet.label.wide_nm // UNIT_NM,
        sheet.label.tall_nm // UNIT_NM,
    )
    parts = [_at(place, edge) for place in sheet.places]
    parts += [_at(place, _drawn(label)) for label, place in placed]
    return _picture(sheet.paper, f"Sheet with {len(placed)} labels", parts)


def _at(place: tuple[int, int], part: SafeString) -> SafeString:
    x, y = (number / UNIT_NM for number in place)
    return format_html('<g transform="translate({} {})">{}</g>', f"{x:.1f}", f"{y:.1f}", part)


def _picture(size: Size, title: str, parts: Sequence[SafeString]) -> SafeString:
    wide, tall = size.wide_nm / MM, size.tall_nm / MM
    return format_html(
        '<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{}mm" height="{}mm" viewBox="0 0 {} {}">'
        '<title>{}</title><rect width="100%" height="100%" fill="#fff"/>{}</svg>',
        f"{wide:.2f}",
        f"{tall:.2f}",
        _units(wide),
        _units(tall),
        title,
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def _drawn(label: Label) -> SafeString:
    return format_html_join("", "{}", ((_shape(shape),) for shape in label.shapes))


def _units(mm: float) -> str:
    return f"{mm * 100:.1f}"


def _shape(shape: Text | Rule | Print) -> SafeString:
    if isinstance(shape, Text):
        # The width is given, so that another font of another machine keeps to it.
        return format_html(
            '<text x="{}" y="{}" font-family="Helvetica, Arial, Liberation Sans, sans-serif" font-size="{}" '
            'font-weight="{}" fill="#000" textLength="{}" lengthAdjust="spacingAndGlyphs">{}</text>',
            _units(shape.x),
            _units(shape.y),
            _units(shape.size),
            "bold" if shape.bold else "normal",
            _units(shape.wide),
            shape.said,
        )
    if isinstance(shape, Rule):
        path = f"M{_units(shape.x)} {_units(shape.y)}h{_units(shape.wide)}"
        return format_html('<path d="{}" stroke="#000" stroke-width="{}"/>', path, _units(shape.thick))
    # In modules, which are whole numbers: half as long as hundredths of a millimetre.
    path = "".join(f"M{block.x} {block.y}h{block.wide}v{block.tall}h-{block.wide}z" for block in shape.symbol.blocks)
    return format_html(
        '<path transform="translate({} {}) scale({} {})" d="{}" fill="#000" shape-rendering="crispEdges"/>',
        _units(shape.x),
        _units(shape.y),
        f"{shape.across * 100:.3f}",
        f"{shape.down * 100:.3f}",
        path,
    )
