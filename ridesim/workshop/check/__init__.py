"""The check sheet of a build."""
