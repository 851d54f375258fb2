"""The order of work: which rings to open, and the steps from one end of a piece to the other."""
