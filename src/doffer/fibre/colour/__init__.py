"""Colour of fibre: spectra and tristimulus values, differences, blends of pre-dyed lots.

Spectra are reflectance factors 0..1 at 400 to 700 nm in steps of 10 nm, last axis 31 long; all functions
take leading batch axes.
"""
