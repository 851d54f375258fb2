"""A commented settings file to start from."""

SETTINGS_TEXT = """\
# How you work, for all your designs: name this file in a design (settings = "workshop.toml"), or give it
# with --settings. What a design says itself goes first. Take the # off a line and put your own figure in;
# what is left out is told as not given on the sheet, and money is never guessed.

[bench]
# temper = "half hard"          # of your wire: annealed, half hard, hard, spring; the usual one when left out
# mandrels = ["knitting needles", "3.25 mm"]  # sets: also metric rods, inch rods, drill blanks; diameters
cut = "saw"                     # or "flush cutters"
# kerf = "0.25 mm"              # what a cut takes of the wire; or a saw blade: "4/0" to "1/0"
mandrel_length = "100 mm"       # how long a coil is wound at once
tail = "40 mm"                  # wire at both ends of a coil that makes no rings
# sold_in = "1 m"               # wire is sold in lengths of this
# bag = 100                     # ready rings are sold in bags of so many
spare = 10                      # spare rings, percent
# open_seconds = 6              # time to open a ring
# close_seconds = 14            # time to link it and close it
# finding_seconds = { clasp = 240 }  # time to make a finding, by its name
tug = "20 N"                    # the pull that a piece should hold

# [bench.metals."sterling silver"]  # what you know of a metal's wire
# temper = "half hard"
# youngs_modulus = "76 GPa"
# yield_strength = "300 MPa"

# [[bench.trials]]              # a trial coil shows how far your wire really springs open
# metal = "sterling silver"
# temper = "half hard"
# wire = "18 AWG"
# mandrel = "4 mm"
# inside = "4.2 mm"

[prices]                        # all of one currency
# Of these four the first that is given counts: by the bag, the ring, the metre, the gram.
# per_gram = { "sterling silver" = "1.00 EUR" }  # wire
# per_metre = { link = "1.00 EUR" }   # wire, by the name of a ring size
# per_ring = { link = "1.00 EUR" }    # ready rings
# per_bag = { link = "1.00 EUR" }     # bags of ready rings
# each = { clasp = "1.00 EUR" }       # findings, by name
# bead = { pin = "1.00 EUR" }         # a bead, by the name of the finding that it is on
# per_hour = "1.00 EUR"
# overhead = 10                 # added to material and work, percent
# markup = 2.0                  # from cost to price

# [[owned]]                     # ready rings at hand, as many tables as wanted
# inside = "4 mm"
# wire = "18 AWG"
# metal = "sterling silver"     # any when left out
# count = 100

# [classroom]                   # a class that makes the piece
# students = 12
# spare = 5                     # spare parts shared by all, percent
# for_teacher = 1               # kits for those who teach

[sheet]
units = "both"                  # metric, inch or both
paper = "A4"                    # or Letter
hand_out = false                # true: for a class or a kit, without prices and rings at hand
"""
"""The text of the file; a test keeps every key in it."""
