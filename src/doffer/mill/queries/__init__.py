"""What can be read: frozen rows, at most fifty a page, and no query that grows with its rows."""
