"""What each side sees, what is undercut, and with what it is reached."""
