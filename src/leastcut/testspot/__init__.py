"""Trials on a test spot: which process next, which process for the car."""
