"""A figure before there is a maquette: from drawings, outlines in photographs, and a tape."""
