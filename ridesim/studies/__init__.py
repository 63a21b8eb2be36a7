"""Questions over rides, one module a question."""
