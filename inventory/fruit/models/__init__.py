"""Fruit that somebody can spare, who would like some, who gets how much, and what lies in the freezer."""
