"""The run: events as they happen, and the proof against the finish before."""
