"""Structural mechanics of props on thin supports: SI arrays in, SI arrays out, leading batch axis everywhere."""
