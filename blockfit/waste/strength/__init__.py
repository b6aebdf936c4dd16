"""Where the figure is thin, and what its own weight asks of its sections."""
