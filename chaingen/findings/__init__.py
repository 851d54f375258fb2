"""Findings: clasps, ear wires, links and pins of wire, and beads, as shapes with named eyes."""
