"""Which component wobbles in a test take, what is its likeliest cause, and what cures it."""
