"""What people see, in their language. Facts and stored answers are English and are translated on their way out."""
