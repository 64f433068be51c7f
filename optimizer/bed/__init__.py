"""A log as it lies on the bed and comes apart: lay, outlines, hearts, marks, masses, and prices on the mesh."""
