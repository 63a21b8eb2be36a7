"""Calculators around a ride: belt, winding, wires, pack, size and law."""
