"""Django's two finders of static files, with an eye to packages that bring far more than a page uses.

`STATICFILES_CHOSEN` names such a package's folder and the files in it that are wanted. Whoever puts another file of
that package on a page adds it there; a test finds what was forgotten.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import AppDirectoriesFinder, FileSystemFinder
from django.core.files.storage import Storage


def is_wanted(path: str) -> bool:
    path = path.replace(os.sep, "/")
    folder = path.partition("/")[0]
    return path in settings.STATICFILES_CHOSEN.get(folder, [path])


class Chosen:
    """To be mixed into a finder: what is not wanted is neither listed for collecting nor found for serving."""

    def find(self, path: str, *args: Any, **options: Any) -> Any:
        return super().find(path, *args, **options) if is_wanted(path) else []  # type: ignore[misc]

    def list(self, ignore_patterns: Iterable[str] | None) -> Iterator[tuple[str, Storage]]:
        for path, storage in super().list(ignore_patterns):  # type: ignore[misc]
            if is_wanted(os.path.join(getattr(storage, "prefix", ""), path)):
                yield path, storage


class ChosenFileSystemFinder(Chosen, FileSystemFinder):
    pass


class ChosenAppFinder(Chosen, AppDirectoriesFinder):
    pass
