"""Which motor: words and pictures."""
