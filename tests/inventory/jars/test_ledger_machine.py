"""Any sequence of what people do to jars: the sum stays zero, nothing goes below it, and the books agree."""

from __future__ import annotations

from collections import Counter
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.jars import services
from inventory.jars.models import Balance, Movement
from inventory.jars.rules import SHAPES
from inventory.jars.services.ledger import NOT_BY_HAND, Fate
from tests.factories.batches import make_batch
from tests.factories.jars import make_keeper
from tests.factories.members import make_kitchen, make_person
from tests.helpers import examples

SIZES = ["half-pint", "pint"]
BY_HAND = sorted(set(SHAPES) - NOT_BY_HAND)
counts = st.integers(1, 12)


class Ledger(RuleBasedStateMachine):
    @initialize()
    def open_the_club(self):
        self.transaction = transaction.atomic()
        self.transaction.__enter__()
        self.keeper = make_keeper()
        self.kitchen = make_kitchen(self.keeper)
        self.lots = [make_batch(by=self.keeper, kitchen=self.kitchen) for _n in range(2)]
        self.places = [
            services.kitchen_place(self.kitchen),
            services.person_place(make_person()),
            services.store_place(),
            *(services.outside_place(kind) for kind in ("bought", "given-away", "broken")),
        ]
        self.model = Counter()

    def teardown(self):
        if hasattr(self, "transaction"):
            transaction.set_rollback(True)
            self.transaction.__exit__(None, None, None)

    def count(self, movement):
        lot = movement.batch_id
        for side, sign in (("source", -1), ("target", 1)):
            state = getattr(movement, f"{side}_state")
            key = (getattr(movement, f"{side}_id"), movement.size, state, lot if state == "full" else None)
            self.model[key] += sign * movement.count

    def try_it(self, act):
        """Do it, or be refused; a refusal writes nothing."""
        last = Movement.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
        try:
            with transaction.atomic():
                act()
        except ValidationError:
            assert not Movement.objects.filter(pk__gt=last).exists()
        for movement in Movement.objects.filter(pk__gt=last).order_by("pk"):
            self.count(movement)

    @rule(data=st.data(), reason=st.sampled_from(BY_HAND), size=st.sampled_from(SIZES), count=counts)
    def move(self, data, reason, size, count):
        shape = SHAPES[reason]
        source = data.draw(st.sampled_from([p for p in self.places if p.kind in shape.sources]))
        targets = [source] if shape.stays else [p for p in self.places if p.kind in shape.targets]
        target = data.draw(st.sampled_from(targets))
        state = data.draw(st.sampled_from(shape.finds))
        lot = data.draw(st.sampled_from(self.lots)).pk if state == "full" else None
        deposit = data.draw(st.sampled_from([0, 0, 50])) if reason == "lent" else 0
        self.try_it(
            lambda: services.jars_move(
                by=self.keeper,
                reason=reason,
                size=size,
                count=count,
                source=source,
                target=target,
                state=state,
                batch_id=lot,
                deposit_cents=deposit,
                token=uuid4(),
            )
        )

    @rule(lot=st.integers(0, 1), jars=st.dictionaries(st.sampled_from(SIZES), counts, min_size=1))
    def fill(self, lot, jars):
        batch, at = self.lots[lot], self.lots[lot].created_at
        before = Movement.objects.count()
        told = {"by": self.keeper, "batch_id": batch.pk, "kitchen": self.kitchen, "token": uuid4(), "at": at}
        self.try_it(lambda: services.jars_fill(**told, jars=jars))
        assert Movement.objects.count() > before  # a cupboard that was never counted blocks no batch

    @rule(
        lot=st.integers(0, 1),
        size=st.sampled_from(SIZES),
        count=counts,
        fates=st.permutations(list(Fate)),
    )
    def settle(self, lot, size, count, fates):
        batch = self.lots[lot]
        was, now_is, _other = fates
        if was is Fate.BROKEN:
            return
        told = {"by": self.keeper, "batch_id": batch.pk, "kitchen": self.kitchen, "token": uuid4()}
        self.try_it(
            lambda: services.jars_settle(**told, size=size, count=count, was=was, now_is=now_is, at=batch.created_at)
        )

    @precondition(lambda self: Movement.objects.exists())
    @rule(data=st.data(), count=st.integers(0, 12))
    def correct(self, data, count):
        keys = list(Movement.objects.order_by("pk").values_list("pk", flat=True))
        movement = Movement.objects.get(pk=data.draw(st.sampled_from(keys)))
        self.try_it(lambda: services.jars_correct(by=self.keeper, movement=movement, count=count, token=uuid4()))

    @precondition(lambda self: Movement.objects.filter(reason="bought").exists())
    @rule()
    def press_twice(self):
        one = Movement.objects.filter(reason="bought").first()
        again = services.jars_move(
            by=self.keeper,
            reason="bought",
            size=one.size,
            count=one.count,
            source=one.source,
            target=one.target,
            token=one.token,
        )
        assert again.pk == one.pk

    @invariant()
    def the_books_are_sound(self):
        if not hasattr(self, "model"):
            return
        assert set(Balance.objects.sums_by_size().values()) <= {0}
        assert not Balance.objects.filter(is_inside=True, count__lt=0).exists()
        kept = Balance.objects.values_list("place", "size", "state", "batch", "count")
        assert {tuple(key): n for *key, n in kept if n} == {key: n for key, n in self.model.items() if n}
        audit = services.ledger_audit()
        assert audit.problems == []


@pytest.mark.long
@pytest.mark.django_db
def test_whatever_people_do_the_sum_stays_zero_and_the_books_agree():
    few = examples(20, stateful_step_count=20, deadline=None, suppress_health_check=list(HealthCheck))
    run_state_machine_as_test(Ledger, settings=few)
