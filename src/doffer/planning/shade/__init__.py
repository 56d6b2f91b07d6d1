"""Shades: recipes from stock lots, corrections of an off-shade batch, sub-lots that make the standard together."""
