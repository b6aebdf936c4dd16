"""The commands of the command line, each a thin layer over the same functions that Python has."""
