"""What the site's pictures share: an SVG element to stand inline in a page.

drawsvg draws them: it is kept up, has no dependencies of its own, escapes what it writes and puts no style on anything
unless asked. A picture has no style attribute, no style element and no script, so that the site's content policy lets
it through; it is drawn in `currentColor`, so that it follows a dark page.
"""

from __future__ import annotations

import drawsvg

FONT = "system-ui, sans-serif"


class Description(drawsvg.Title):  # type: ignore[misc]
    """The text that stands for the picture."""

    TAG_NAME = "desc"


def new_picture(
    width: float, height: float, *, title: str, description: str, css_class: str, prefix: str
) -> drawsvg.Drawing:
    """An empty picture with its name and text for those who cannot see it. `prefix` keeps the ids of a page apart."""
    drawing = drawsvg.Drawing(
        width,
        height,
        id_prefix=prefix,
        **{"role": "img", "class": css_class, "aria-labelledby": f"{prefix}-title {prefix}-desc"},
    )
    drawing.append(drawsvg.Title(title, id=f"{prefix}-title"))
    drawing.append(Description(description, id=f"{prefix}-desc"))
    return drawing


def words_at(words: str, x: float, y: float, size: int, **more: str) -> drawsvg.Text:
    return drawsvg.Text(words, size, round(x, 1), y, fill="currentColor", font_family=FONT, **more)


def as_wide_as_the_page(drawing: drawsvg.Drawing) -> str:
    """The `<svg>` element. Without a height of its own the picture keeps its shape at any width."""
    svg: str = drawing.as_svg(header="")
    return svg.replace(f'width="{drawing.width}" height="{drawing.height}"', 'width="100%"', 1)
