"""What the crew needs on the day: drawings, cut list, order of work, mount and proof load."""
