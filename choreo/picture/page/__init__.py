"""The review page: one file that holds the moving picture, the charts, the panels, the numbers and the marks."""
