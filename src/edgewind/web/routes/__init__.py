"""Routes of the pages, a file for each page."""
