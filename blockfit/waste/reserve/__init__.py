"""Sound stone around the figure: cover on every side, and how far it can move."""
