"""The survey as one page that opens offline."""
