"""Which bike for my road: words and pictures."""
