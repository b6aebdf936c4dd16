"""Stone with flaws, rough blocks, and movements along one direction: found by climbing, verified by exact solids."""
