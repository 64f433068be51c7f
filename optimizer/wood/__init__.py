"""What wood weighs, how it shrinks, and how buyers count it: formulas and tables with their sources."""
