"""The sections of a report: each turns what was worked out into blocks for the page."""
