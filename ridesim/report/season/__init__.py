"""A year on the commute: words and pictures."""
