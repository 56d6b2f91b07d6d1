"""Shades: recipes from stock, corrections of an off-shade batch, sub-lots that make the standard together."""
