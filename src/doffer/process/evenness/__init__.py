"""Evenness: how the composition varies along the flow of fibre, as spectra and as a simulated stream.

The axis is the cumulative oven-dry mass [g], not length: drafting only relabels it, and length enters at the
end through the linear density (grams per metre = ktex).
"""
