"""What is known about fibre and mills, as plain tables: one CSV per subject, every row with its source.

`rows` says what each table holds, `catalogue` names and explains the tables, `loader` reads and checks them
and lets a mill put its own figures over the shipped ones. A row that was recollected or is only common
practice says so.
"""
