"""Settings: what to set each machine to for a fibre and a yarn, with a reason, a source and how sure it is.

Suggestions only: nothing here is ever written to a machine. Fibre facts (`facts`) decide which rows of table
settings apply (`rules`); what the plan of a yarn says is set beside them (`planned_yarn`, `drawing`); the
mill's own best settings of past runs come first (`own`). `card.settings_card` puts it together.
"""
