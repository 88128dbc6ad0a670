"""Benches: the file that names all takes of a comparison, and the folder that a new one starts from."""
