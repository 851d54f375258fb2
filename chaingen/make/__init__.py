"""What a maker prepares: metals of rings, counts and weights."""
