"""One document on the whole bike: every question that a road asks of it, each a chapter."""
