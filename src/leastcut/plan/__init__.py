"""Panels into sections, sections into steps, steps into time, materials and price."""
