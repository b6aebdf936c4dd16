"""Writes certificates: a tree of cells, each settled by one statement, and a placement that keeps its rows exactly."""
