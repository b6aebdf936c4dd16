"""The job on file: one placement for as long as the work takes, and the dated log of what was done."""
