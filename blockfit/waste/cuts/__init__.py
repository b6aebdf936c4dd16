"""What a single cut is: its tool, its lines on the stone, what it clears, how a piece is divided."""
