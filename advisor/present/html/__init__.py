"""The report as one page of HTML."""
