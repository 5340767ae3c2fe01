"""Labels: codes, symbols, stocks, designs, and their drawing as PDF and PNG."""
