"""The questions that make a first rig file."""
