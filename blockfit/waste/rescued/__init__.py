"""What else can be made of one block: a second figure, two that share it, what pieces are worth."""
