"""What to buy: every size in stock given the check, ranked, the best of them checked whole."""
