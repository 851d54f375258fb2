"""Bodies as arrays, distance kernels and the linking test; nothing here knows what a weave is."""
