"""Studies: what the program finds out about a shot, and the results it hands back."""
