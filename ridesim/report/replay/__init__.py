"""A log beside its model, in words and pictures."""
