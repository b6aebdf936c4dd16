"""How solids are measured: columns along a direction, surface pieces, exact booleans."""
