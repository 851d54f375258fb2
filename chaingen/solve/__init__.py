"""From a link graph to poses, and the check that trusts none of them."""
