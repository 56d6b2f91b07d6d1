"""The mill's people, what each may do, and the tablets they use."""
