"""Evidence to numbers: scratches in photos, film thickness, gloss, the wash-and-clay check."""
