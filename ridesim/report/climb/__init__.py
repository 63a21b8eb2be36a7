"""Does it cook on the climb: words and pictures."""
