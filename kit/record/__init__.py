"""Grades taken in: from the workbook, from CSV and from the form on a tablet."""
