"""The parts of a report: each turns what was worked out into one section."""
