"""The best rotation in a convex block, with a proved bound."""
