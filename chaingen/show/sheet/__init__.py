"""The maker's sheet: what it says as blocks, and these as a page, as PDF and as tables for a spreadsheet."""
