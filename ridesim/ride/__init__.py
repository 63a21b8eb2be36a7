"""The public answer: one ride, its trace, its summary and its ledger."""
