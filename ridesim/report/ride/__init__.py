"""One ride: words and pictures."""
