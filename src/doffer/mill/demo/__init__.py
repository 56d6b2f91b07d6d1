"""The invented mill: its tables and how they become records."""
