"""Toothed belts: geometry, strength, tension, layouts, shafts, and a build's drive judged by its loads."""
