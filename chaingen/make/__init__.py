"""What a maker prepares: counts of rings by size."""
