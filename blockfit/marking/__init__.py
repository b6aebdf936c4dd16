"""Marking the stone: setting the model, pointing, roughing out, and reading back."""
