"""Which bike for my road? Goals, cheap tests, draft rides, full rides, the front, executors."""
