"""Copper: leads, fuses, plugs, strips and pre-charge, each on its own and as the harness of a bike."""
