"""Papers that leave the screen: run card, weigh-out sheet, bag tags, work order, lot sheet, as tagged PDF.

`papers` says what a paper needs, `render` makes it, `fill` says every figure in the mill's units, `letters`
keeps text printable, `scan` draws the square code. Templates are fixed; what people typed goes in as data.
"""
