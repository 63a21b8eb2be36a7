"""Scalar kernels of the ride model, in SI."""
