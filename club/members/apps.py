from __future__ import annotations

from django.apps import AppConfig


class MembersConfig(AppConfig):
    name = "club.members"
    label = "members"
