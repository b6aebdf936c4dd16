"""Where the figure sits best."""
