"""`prove` that is stopped half-way says so, and does not pass for a proof."""

from __future__ import annotations

import io

import pytest
from django.core.management import call_command

from club.desk.management.commands import prove


def test_a_proof_that_is_stopped_says_so_and_counts_as_failed(monkeypatch):
    def pressed(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(prove.subprocess, "run", pressed)
    told = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("prove", stdout=told)
    assert stopped.value.code == 130
    assert "nothing is proved" in told.getvalue()
