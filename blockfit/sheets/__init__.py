"""What people read and pin up."""
