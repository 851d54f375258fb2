"""Drape: how a placed piece hangs, lies and wraps at rest."""
