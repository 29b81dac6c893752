"""A batch's jar labels as they are put on paper: the sentences of each, and what its square says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from club.core.papers import TooSmall, label_svg, laid, sheet_svg
from club.core.sheets import KEPT_TOGETHER, Label, Line
from club.members.choices import LabelSigned
from club.members.models import LabelPaper
from inventory.batches import presentation
from inventory.batches.models import Batch


def paper_labels(batch: Batch, *, signed: str, every: bool) -> list[Label]:
    """For the same jars as the page's labels: none for a jar called back or set aside. `every` as there."""
    shown = presentation.labels_of(batch, every=every)
    if not shown:
        return []
    text = presentation.label_text(batch)
    return [Label(tuple(_lines(one, text, signed)), jar_url(batch, one.number), one.is_unchecked) for one in shown]


def jar_url(batch: Batch, number: int) -> str:
    return settings.SITE_URL + reverse("batches:jar", args=[batch.lot_code, number])


def _lines(label: presentation.Label, text: presentation.LabelText, signed: str) -> Iterator[Line]:
    yield Line(label.contents, 1.4, is_bold=True)
    if label.is_unchecked:
        yield Line(_("Seal not checked"), 1.1, is_bold=True)
    yield Line(_("Ingredients: %(items)s") % {"items": text.ingredients})
    if text.allergens.held:
        held = ", ".join(str(one) for one in text.allergens.held)
        yield Line(f"{_('Contains')}: {held}", is_bold=True)
    dates = [_("Put up %(day)s") % {"day": _day(label.put_up)}]
    if label.best_before:
        dates.append(_("Best before %(day)s") % {"day": _day(label.best_before)})
    elif not label.keep:
        dates.append(_("No date was found in print"))
    yield Line(" · ".join(one.replace(" ", KEPT_TOGETHER) for one in dates))
    for note in (label.keep, *text.notes):
        if note:
            yield Line(str(note), is_bold=True)
    yield Line(f"{label.lot_code} / {label.number}".replace(" ", KEPT_TOGETHER), 1.2, is_bold=True)
    names = {LabelSigned.KITCHEN: label.kitchen, LabelSigned.CLUB: settings.CLUB_NAME}
    yield Line(names.get(LabelSigned(signed)) or f"{label.kitchen}, {settings.CLUB_NAME}")
    for saying in text.opening:
        yield Line(_(str(saying.statement)))


def _day(day: date) -> str:
    return date_format(day, "j M Y")


@dataclass(frozen=True)
class Preview:
    """How the labels will come out. `label` is empty where one of them is too small for what it has to say."""

    paper: LabelPaper
    first: int
    count: int
    sheets: int
    label: SafeString | str
    sheet: SafeString


def preview_of(paper: LabelPaper, labels: list[Label], first: int, name: str) -> Preview:
    sheet = paper.sheet
    try:
        for label in labels:
            laid(label, sheet)
        picture = label_svg(labels[0], sheet, name) if labels else ""
    except TooSmall:
        picture = ""
    sheets = -(-(first - 1 + len(labels)) // sheet.count)
    drawn = sheet_svg(sheet, first=first, count=len(labels), name=_("Where the labels go on the first sheet"))
    return Preview(paper, first, len(labels), sheets, picture, drawn)
