"""Doffer: from bags of fleece to labelled roving and yarn."""

__version__ = "0.1.0"
