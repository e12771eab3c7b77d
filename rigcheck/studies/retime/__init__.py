"""How fast a move can go and still arrive still."""
