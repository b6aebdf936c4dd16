"""The survey in words and as plain data."""
