"""The report: figures, display tables, the workbook of bands and the academy's page."""
