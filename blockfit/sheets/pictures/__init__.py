"""Pictures to pin up: `drawings` makes them, as files or as bytes; `relief` shades them."""
