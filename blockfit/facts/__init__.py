"""How results say what they hold: each fact once, with its measure, how sure it is, and which way it is rounded."""
