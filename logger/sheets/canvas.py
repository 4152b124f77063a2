"""A small SVG canvas in millimetres of paper, black on white, the same bytes for the same strokes."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape

Point = tuple[float, float]

HATCH = (
    '<defs><pattern id="ground" width="2" height="2" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<line x1="0" y1="0" x2="0" y2="2" stroke="black" stroke-width="0.18"/></pattern></defs>'
)


@dataclass
class Canvas:
    """Strokes collected from the top left corner, x to the right and y down, in millimetres."""

    width: float
    height: float
    parts: list[str] = field(default_factory=list)

    def path(self, points: Iterable[Point], *, width: float = 0.25, dash: str = "", fill: str = "none") -> None:
        """A line through points; closed and filled where a fill is named."""
        drawn = " L".join(f"{_mm(x)} {_mm(y)}" for x, y in points)
        style = f' stroke-dasharray="{dash}"' if dash else ""
        stroke = f'stroke="black" stroke-width="{_mm(width)}"' if width else 'stroke="none"'
        close = "" if fill == "none" else " Z"
        self.parts.append(f'<path d="M{drawn}{close}" fill="{fill}" {stroke} stroke-linejoin="miter"{style}/>')

    def text(self, at: Point, words: str, *, size: float = 3.0, anchor: str = "middle", bold: bool = False) -> None:
        """Words at a point of their base line; a white rim keeps them readable on hatching."""
        weight = ' font-weight="bold"' if bold else ""
        self.parts.append(
            f'<text x="{_mm(at[0])}" y="{_mm(at[1])}" font-size="{_mm(size)}" text-anchor="{anchor}"{weight} '
            f'stroke="white" stroke-width="0.6" paint-order="stroke" stroke-linejoin="round">{escape(words)}</text>'
        )

    def svg(self, title: str) -> str:
        """The whole drawing as SVG text, self-contained."""
        width, height = _mm(self.width), _mm(self.height)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}" font-family="Helvetica, Arial, sans-serif" role="img">'
            f"<title>{escape(title)}</title>{HATCH}"
            f'<rect width="{width}" height="{height}" fill="white"/>' + "".join(self.parts) + "</svg>\n"
        )


def _mm(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
