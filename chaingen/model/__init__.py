"""Meshes and the files made of them."""
