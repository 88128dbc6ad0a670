"""Audio basics that every other room stands on: dBFS, weightings, spectra, reading and writing.

The modules are imported one by one where they are needed; this package imports none of them.
"""
