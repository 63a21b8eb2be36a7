"""Which ratio: words and pictures."""
