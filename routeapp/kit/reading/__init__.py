"""Spreadsheets as people bring them: from a file to sheets, from a cell to what it says."""
