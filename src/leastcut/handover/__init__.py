"""What was done and what is left: reports, care sheet, clear-coat ledger."""
