"""How the samples were made; run from the top of a clone: `python -m data_samples.making.dunmarrow_county`."""
