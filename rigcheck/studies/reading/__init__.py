"""From the shot as its user describes it to what is computed."""
