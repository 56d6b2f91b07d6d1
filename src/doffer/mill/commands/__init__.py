"""What can be done in the mill: one function per business act, one `write()` each, with who and when."""
