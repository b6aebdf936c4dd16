"""Weights, what stands, what tips, what is turned and lifted, and the limits of gear and floors."""
