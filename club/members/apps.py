from __future__ import annotations

from importlib import import_module
from typing import Any

from django.apps import AppConfig
from django.apps import apps as present_apps
from django.db.models.signals import post_migrate


class MembersConfig(AppConfig):
    name = "club.members"
    label = "members"

    def ready(self) -> None:
        # Set-up, not a business rule: a database that was just migrated, a test's included, has the four roles.
        post_migrate.connect(install_roles_after_migrate, dispatch_uid="members.roles")
        import_module("club.members.signals")  # they note what allauth does; its models have to be there first


def install_roles_after_migrate(app_config: AppConfig, using: str, apps: Any = present_apps, **_rest: Any) -> None:
    """Fill the roles after each app that brings permissions of theirs.

    Django makes an app's permissions in a receiver that is connected later than this one, hence the call here.
    """
    from django.contrib.auth.management import create_permissions

    from club.members.choices import PERMISSIONS
    from club.members.services import roles_install

    labels = {name.split(".")[0] for names in PERMISSIONS.values() for name in names}
    if app_config.label not in labels:
        return
    try:
        apps.get_model("auth", "Group")
    except LookupError:  # migrated backwards to before the groups' own table
        return
    create_permissions(app_config, verbosity=0, using=using, apps=apps)
    roles_install(using=using)
