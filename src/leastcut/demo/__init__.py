"""The invented scenario: a car, an owner, a shop, and the hidden truth behind the evidence."""
