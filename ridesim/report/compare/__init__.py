"""Which build: words and pictures."""
