"""The last layer: when it may go on, how much, how long to wait."""
