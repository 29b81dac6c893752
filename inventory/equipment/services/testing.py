"""Tests of gauges, thermometers, pH meters and refractometers, and whether one allows a hand-over or a reading."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import form_reused
from club.core.text import plain
from club.members.models import User
from inventory.equipment.choices import TESTED_KINDS, Kind, Measure, Verdict
from inventory.equipment.models import InstrumentTest, Thing
from inventory.equipment.presentation import day_words
from inventory.equipment.rules import OLDEST_TEST_YEAR, TEST_RULES, Reading, has_passed, is_enough, lapses_on
from inventory.equipment.services.common import testing_check

# What a reading lies between: psi, pH and Brix from 0 to 100.
RANGES = {Measure.CELSIUS: (Decimal(-50), Decimal(150))}
USUAL_RANGE = (Decimal(0), Decimal(100))


def instrument_test_record(
    *,
    by: User,
    thing: Thing,
    tested_on: date,
    readings: Sequence[Reading],
    reference: str,
    note: str = "",
    token: UUID | None = None,
    now: datetime | None = None,
) -> InstrumentTest:
    """A dial gauge held against a reference gauge, a pH meter against buffers, a refractometer against water,
    a thermometer in ice water and in boiling water.

    What it is read in, how near it must be and when the test lapses are its kind's (`TEST_RULES`). The same token
    again finds the first. A household's own canner is tested by its people, or by a keeper. PermissionDenied;
    ValidationError (tested_on, readings, reference, note).
    """
    measure = thing.facts.measure
    if measure is None:
        raise ValidationError(_("%(code)s is no instrument to calibrate.") % {"code": thing.code})
    testing_check(by, thing)
    moment, token = now_or(now), token or uuid4()
    _check(measure, tested_on, readings, club_day(moment))
    reference = plain(reference, field="reference", longest=160)
    if not reference:
        raise ValidationError({"reference": _("Say what it was held against.")})
    try:
        with transaction.atomic():
            return InstrumentTest.objects.create(
                thing=thing,
                token=token,
                tested_on=tested_on,
                reference=reference,
                readings=[[str(one.reference), str(one.shown)] for one in readings],
                verdict=Verdict.PASSED if has_passed(readings, measure) else Verdict.FAILED,
                lapses_on=lapses_on(tested_on, measure),
                note=plain(note, field="note", longest=300),
                recorded_by=by,
                recorded_at=moment,
            )
    except IntegrityError:
        made = InstrumentTest.objects.filter(token=token, thing=thing).first()
        if made is None:  # another instrument's: to answer "recorded" would leave this one as it was
            raise form_reused() from None
        return made


def _check(measure: Measure, tested_on: date, readings: Sequence[Reading], today: date) -> None:
    if tested_on > today:
        raise ValidationError({"tested_on": _("That day has not come yet.")})
    if tested_on.year < OLDEST_TEST_YEAR or lapses_on(tested_on, measure) <= today:
        raise ValidationError({"tested_on": _("A test of that day has lapsed by now. Test it again.")})
    for one in readings:
        values = (one.reference, one.shown)
        low, high = RANGES.get(measure, USUAL_RANGE)
        if not all(value.is_finite() and low <= value <= high for value in values):
            text = _("A reading is from %(low)s to %(high)s.")
            raise ValidationError({"readings": text % {"low": low, "high": high}})
    if not readings or not is_enough(readings, measure):
        rule = TEST_RULES[measure].rules[1 if measure is Measure.PSI else 0]
        raise ValidationError({"readings": _("That is too little to judge by. %(rule)s") % {"rule": _(rule.statement)}})


def last_test(thing: Thing) -> InstrumentTest | None:
    return InstrumentTest.objects.filter(thing=thing).order_by("-tested_on", "-pk").first()


def tested_check(thing: Thing, until: date) -> None:
    """Refuses an instrument whose last test failed, or that is not good to the end of the loan, or never made."""
    if thing.kind not in TESTED_KINDS:
        return
    found = last_test(thing)
    if found is None:
        text = _("%(code)s was never tested. Test it before it is handed over.")
        raise ValidationError(text % {"code": thing.code}, code="untested")
    if found.verdict == Verdict.FAILED:
        text = _("%(code)s failed its test on %(day)s. It stays here until it is mended and passes.")
        raise ValidationError(text % {"code": thing.code, "day": day_words(found.tested_on)}, code="failed")
    if found.lapses_on <= until:
        text = _("The test of %(code)s lapses on %(day)s, before the loan would end. Test it first.")
        raise ValidationError(text % {"code": thing.code, "day": day_words(found.lapses_on)}, code="lapsed")


def reading_check(thing: Thing, on: date) -> InstrumentTest:
    """The test that a pH meter's, a refractometer's or a thermometer's reading of that day goes by.

    ValidationError for one that was never tested, whose test of then had lapsed, or that failed then or since.
    """
    tests = InstrumentTest.objects.filter(thing=thing).order_by("-tested_on", "-pk")
    newest, then = tests.first(), tests.filter(tested_on__lte=on).first()
    named = {"code": thing.code}
    if newest is not None and newest.verdict == Verdict.FAILED:
        text = _("%(code)s failed its test on %(day)s: its readings are not taken down.")
        raise ValidationError(text % (named | {"day": day_words(newest.tested_on)}), code="failed")
    if then is None:
        text = _("%(code)s was not tested by that day. Have it tested first, or take another one.")
        raise ValidationError(text % named, code="untested")
    if then.verdict == Verdict.FAILED or then.lapses_on <= on:
        text = _("The test of %(code)s, of %(day)s, was not good any more. Have it tested again, or take another one.")
        raise ValidationError(text % (named | {"day": day_words(then.tested_on)}), code="lapsed")
    return then


def gauge_check(thing: Thing, on: date) -> InstrumentTest | None:
    """The test that corrects a dial gauge on that day; None for what has no dial gauge.

    ValidationError for one that was not tested in the year before, or whose last test or the next one it failed.
    """
    if thing.kind != Kind.DIAL_GAUGE:
        return None  # a weighted gauge needs no test (GAUGE_WEIGHTED)
    tests = InstrumentTest.objects.filter(thing=thing).order_by("-tested_on", "-pk")
    newest, then = tests.first(), tests.filter(tested_on__lte=on).first()
    named = {"code": thing.code}
    if newest is not None and newest.verdict == Verdict.FAILED:
        text = _(
            "The gauge of %(code)s failed its test on %(day)s: nothing is processed by it. Have it replaced and the new"
            " one tested, or use another canner."
        )
        raise ValidationError(text % (named | {"day": day_words(newest.tested_on)}), code="failed")
    # Of a day that is noted late: what failed at the next test may have been wrong on that day already.
    after = tests.filter(tested_on__gt=on).last() if newest is not None and newest.tested_on > on else None
    if after is not None and after.verdict == Verdict.FAILED:
        text = _(
            "The gauge of %(code)s failed the next test, on %(day)s. What went by it before is not safe on a shelf."
        )
        raise ValidationError(text % (named | {"day": day_words(after.tested_on)}), code="failed")
    if then is None:
        text = _("The gauge of %(code)s was never tested. Have it tested first, or use a canner with a weighted gauge.")
        raise ValidationError(text % named, code="untested")
    if then.verdict == Verdict.FAILED:
        text = _("On that day the gauge of %(code)s had failed its test. These jars are not safe on a shelf.")
        raise ValidationError(text % named, code="failed")
    if then.lapses_on <= on:
        text = _(
            "The test of %(code)s, of %(day)s, is more than a year old. Have the gauge tested again, or use a canner"
            " with a weighted gauge."
        )
        raise ValidationError(text % (named | {"day": day_words(then.tested_on)}), code="lapsed")
    return then
