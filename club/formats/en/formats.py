"""Read by Django for `date:"DATE_FORMAT"`."""

from __future__ import annotations

DATE_FORMAT = "j M Y"
