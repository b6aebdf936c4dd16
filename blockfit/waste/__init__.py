"""What a placement means for the stone: cover, undercuts, offcuts, weights."""
