"""The printed parts as files, and the checks of their meshes."""
