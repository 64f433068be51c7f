"""The log as tables for the search: sections, intervals of wood at every height, layers and the best passes."""
