"""What is printed on plain paper: the recall list, the load record, the sheet of a cycle."""
