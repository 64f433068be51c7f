"""Logs, slabs and plans drawn: SVG, and triangles for the log in the round."""
