"""English: as the pages write a day elsewhere, "25 Nov 2026"."""
