"""The report as a page: one file of HTML that shows what was found, and needs nothing else."""
