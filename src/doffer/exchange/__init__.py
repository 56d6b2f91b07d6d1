"""In and out of the mill: what people type, lists of lots from a file, exports, plans as JSON."""
