"""Where the figure sits best in a convex block, with a proved bound."""
