"""What things are: the figure, the block, its stone, how the figure may stand and where it is placed."""
