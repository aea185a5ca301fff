"""The storyboard for print: sheets of paper with panels, read from the wall, and one to sign."""
