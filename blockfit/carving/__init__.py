"""The stone as it stands: stages of the work, scans of it, how much stone is left, and what comes next."""
