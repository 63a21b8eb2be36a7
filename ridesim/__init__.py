"""Ride a home-made electric bike before it exists."""
__version__ = "0.1.0"
