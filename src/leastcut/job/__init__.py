"""The whole job as use cases: gather evidence, decide, write results."""
