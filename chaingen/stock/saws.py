"""What a saw takes of the wire.

Thicknesses of jeweller's saw blades are from memory and differ a little from maker to maker; the cut is at
least as wide as the blade is thick. A cut measured on a test piece is better than either.
"""

BLADES = {"4/0": 0.22, "3/0": 0.24, "2/0": 0.26, "1/0": 0.28, "1": 0.30}
"""Thickness of a jeweller's saw blade [mm] by its size, the finest first; memory."""
