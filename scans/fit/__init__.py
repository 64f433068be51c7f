"""Points of a log to its stem and limbs, the side that nobody saw, and a closed surface."""
