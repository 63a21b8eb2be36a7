"""The clockwork: parameters, state, one step, one ride, many rides."""
