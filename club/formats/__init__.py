"""How dates are written, where a page leaves it to the language; each language has a folder."""
