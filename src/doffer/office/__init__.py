"""The pages of the office, a module for each place; a page calls one command or one query and renders."""
