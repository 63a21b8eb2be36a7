"""A year on the commute: weather, every day out and back, and how the pack ages over the years."""
