"""Mechanics of the pad on the paint: speed, footprint, removal, heat."""
