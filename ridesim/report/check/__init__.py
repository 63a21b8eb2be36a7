"""The check sheet of a build: words and pictures."""
