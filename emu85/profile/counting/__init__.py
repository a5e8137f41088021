"""What is counted record by record, compiled like the loop that writes the records."""
