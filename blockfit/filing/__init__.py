"""Values on file: exactly as they were, found again, and opened without running anything that a file says."""
