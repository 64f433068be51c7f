"""Closed meshes: bodies and sections, the log frame, hearts and forks, the wood under the bark."""
