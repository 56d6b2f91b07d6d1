"""What fibre is: its water, fineness, content and count, and the material that flows through the mill.

Plain floats and arrays with the basis and unit in the name. Three regains are never mixed: *actual*
(water in it now), *equilibrium* (where the room would bring it) and *agreed* (what a law or a contract
counts). Constants come from a frozen `Tables`; every figure a person acts on can be had with its working.
"""
