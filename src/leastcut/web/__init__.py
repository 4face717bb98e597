"""The workbench: the job as pages."""
