"""Files in and out: job files, readings, photos, whole-file writes."""
