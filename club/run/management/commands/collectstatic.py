"""Django's `collectstatic`, which does nothing where nothing changed: compressing everything anew takes seconds."""

from __future__ import annotations

import hashlib
from importlib.metadata import version
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.contrib.staticfiles.management.commands import collectstatic
from django.contrib.staticfiles.storage import ManifestFilesMixin, staticfiles_storage

STAMP = ".collected"  # beside the files: what they were made of
MAKERS = ("Django", "whitenoise", "brotli")
ALWAYS = ("clear", "dry_run", "link", "ignore_patterns")  # whoever asks for one of these wants it done


class Command(collectstatic.Command):
    def handle(self, **options: Any) -> str | None:
        stamp, sources = Path(settings.STATIC_ROOT) / STAMP, _sources()
        is_whole = not any(options[name] for name in ALWAYS)
        if is_whole and _is_made() and stamp.exists() and stamp.read_text() == sources:
            return None
        stamp.unlink(missing_ok=True)  # half a collection is none
        said = super().handle(**options)
        if is_whole and stamp.parent.exists():
            stamp.write_text(sources)
        return said


def _is_made() -> bool:
    """Whether the list of hashed names is there, where the storage keeps one."""
    storage = staticfiles_storage
    return not isinstance(storage, ManifestFilesMixin) or storage.manifest_storage.exists(storage.manifest_name)


def _sources() -> str:
    """A digest of every file to collect by name, size and time, and of what makes the collected ones of them."""
    seen = [settings.STORAGES["staticfiles"]["BACKEND"], *(f"{name} {version(name)}" for name in MAKERS)]
    for finder in get_finders():
        for name, storage in finder.list([]):
            about = Path(storage.path(name)).stat()
            seen.append(f"{name} {about.st_size} {about.st_mtime_ns}")
    return hashlib.sha256("\n".join(seen).encode()).hexdigest()
