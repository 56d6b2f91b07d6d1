"""The shared face of every page: templates, macros, styles, small scripts."""
