"""The yard's table and its journal."""
