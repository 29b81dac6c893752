"""The recipe sheet for the wall: one page, and of the process the row of one kitchen alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from xml.sax.saxutils import escape

from django.conf import settings
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.core.papers import faces, one_page_pdf, printable
from club.members.models import Kitchen
from recipes.engine.terms import TestedRecipe
from recipes.models import Revision
from recipes.presentation import (
    BandTable,
    band_tables,
    detail_lines,
    headspace_text,
    ingredient_lines,
    kept_cold_words,
    step_words,
)
from recipes.safety import panel_of

INK, FRAME = "#000000", 1.6  # points


def why_no_sheet(revision: Revision, kitchen: Kitchen | None) -> str:
    """A sentence where a wall must not have this; "" where it may."""
    if revision.state != "published" or revision.refused_why:
        return _("This recipe is withdrawn or held back, so it has no sheet for the wall.")
    if revision.tested.method.is_cold:
        return ""
    if kitchen is None or kitchen.altitude is None:
        return _("Choose a kitchen whose altitude is known: the sheet has the process of that kitchen alone.")
    if not any(table.here for table in _tables(revision.tested, kitchen)):
        return _("No process that was seen in print reaches this kitchen's altitude, so there is no sheet.")
    return ""


def _tables(tested: TestedRecipe, kitchen: Kitchen | None) -> list[BandTable]:
    return band_tables(tested.process, kitchen.altitude if kitchen else None, tested)


def recipe_sheet_pdf(revision: Revision, kitchen: Kitchen | None, *, units: str, printed: date) -> bytes:
    """Of what `why_no_sheet` lets through. Smaller letters rather than a second page."""
    tested = revision.tested
    foot = _("%(club)s. Revision %(number)s, printed %(day)s. Look on its page, by the square, whether it still holds.")
    told = {"club": settings.CLUB_NAME, "number": revision.number, "day": date_format(printed, "j M Y")}

    def story(scale: float) -> list[Any]:
        letters = _Letters(scale)
        return [
            *_head(tested, kitchen, letters),
            *_amounts(tested, units, letters),
            *_steps(tested, units, letters),
            *_warnings(tested, kitchen, letters),
        ]

    url = settings.SITE_URL + reverse("recipes:recipe", args=[revision.recipe.slug])
    return one_page_pdf(story, title=tested.title, foot=foot % told, url=url)


@dataclass(frozen=True)
class _Letters:
    """All letters of a sheet, larger or smaller by one scale."""

    scale: float

    def style(self, size: float, *, bold: bool = False, before: float = 0) -> Any:
        from reportlab.lib.styles import ParagraphStyle

        points = size * self.scale
        return ParagraphStyle(
            f"{points}-{bold}",
            fontName=faces()[bold],
            fontSize=points,
            leading=points * 1.22,
            spaceBefore=before * self.scale,
            spaceAfter=2 * self.scale,
        )

    def heading(self, text: str) -> Any:
        return _p(text, self.style(13, bold=True, before=8))


def _p(text: object, style: Any) -> Any:
    from reportlab.platypus import Paragraph

    return Paragraph(escape(printable(str(text))), style)


def _head(tested: TestedRecipe, kitchen: Kitchen | None, letters: _Letters) -> Iterator[Any]:
    yield _p(tested.title, letters.style(24, bold=True))
    if tested.method.is_cold:
        yield _p(kept_cold_words(tested), letters.style(13, bold=True))
        yield _p(_("Headspace %(space)s.") % {"space": headspace_text(tested.headspace_in)}, letters.style(11))
        return
    assert kitchen is not None
    assert kitchen.altitude is not None
    place = {"kitchen": kitchen.name, "altitude": kitchen.altitude_words}
    yield _p(_("Only for %(kitchen)s, %(altitude)s") % place, letters.style(13, bold=True))
    for table in _tables(tested, kitchen):
        if table.here:
            yield _row_of(table, kitchen, letters)
            for note in table.notes:
                yield _p(note, letters.style(9.5))
        else:
            said = _("%(process)s: this kitchen lies above the table. It may not be used there.")
            yield _p(said % {"process": table.caption}, letters.style(11, bold=True))
    space = {"space": headspace_text(tested.headspace_in)}
    yield _p(_("Headspace %(space)s unless the table says otherwise.") % space, letters.style(11))


def _row_of(table: BandTable, kitchen: Kitchen, letters: _Letters) -> Any:
    """One table of one row with its mark in the same cell: nothing to tear apart, nothing to read one line too low."""
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import Table

    [line] = [line for line in table.lines if line.is_here]
    small, big = letters.style(10), letters.style(17, bold=True)
    mark = _p(_("%(kitchen)s: %(band)s") % {"kitchen": kitchen.name, "band": line.text}, letters.style(10, bold=True))
    cells = [
        [_p(table.caption, small), *(_p(jar, small) for jar in table.jars)],
        [mark, *(_p(figure, big) for figure in line.figures)],
    ]
    style = [
        ("BOX", (0, 0), (-1, -1), FRAME, HexColor(INK)),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 3),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
    ]
    return Table(cells, style=style, spaceBefore=6, spaceAfter=4, hAlign="LEFT", splitByRow=0)


def _amounts(tested: TestedRecipe, units: str, letters: _Letters) -> Iterator[Any]:
    yield letters.heading(_("For one pot"))
    for line in ingredient_lines(tested, units):
        beside = f" ({line.beside})" if line.beside else ""
        rest = [line.prep]
        if line.optional:
            rest.append(_("may be left out"))
        if line.is_poured_off:
            rest.append(_("poured off again"))
        yield _p(", ".join(filter(None, [f"{line.amount}{beside} {line.item}", *rest])), letters.style(11))
    for detail in detail_lines(tested):
        yield _p(detail, letters.style(11))


def _steps(tested: TestedRecipe, units: str, letters: _Letters) -> Iterator[Any]:
    yield letters.heading(_("How it is made"))
    for number, step in enumerate(step_words(tested, tested.steps, units), start=1):
        said = [f"{number}.", step.text]
        if step.whom:
            said.append(f"[{step.whom}]")
        if step.look_up:
            said.append(_("The figure was not read in print. It stands in: %(source)s") % {"source": step.look_up})
        if step.dispute:
            said.append(_("Publications differ: %(dispute)s") % {"dispute": step.dispute})
        yield _p(" ".join(said), letters.style(11))
    if tested.note:
        yield _p(tested.note, letters.style(11))


def _warnings(tested: TestedRecipe, kitchen: Kitchen | None, letters: _Letters) -> Iterator[Any]:
    """What the source warns of, and how a pressure canner is worked."""
    panel = panel_of(tested, kitchen.altitude if kitchen else None)
    said = [str(caution) for caution in tested.cautions]
    said += [str(saying.statement) for saying in panel.pressure] if panel else []
    if said:
        yield letters.heading(_("Mind"))
    for sentence in said:
        yield _p(f"• {sentence}", letters.style(10))
