"""Printable sheets: the marks, the digging, the section, the quote, the as-built, the field book."""
