"""Pictures of the mill's data as SVG text, and the one formatter for every number and word on a screen."""
