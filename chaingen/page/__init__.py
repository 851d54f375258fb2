"""The page in the browser: a server for one machine, the workers behind it, and what it sends them."""
