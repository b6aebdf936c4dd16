"""What is asked of one figure: how large, how deep, in how small a block, and where it still goes after a loss."""
