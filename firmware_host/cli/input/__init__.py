"""What the front door takes in: arguments, and the job planned from them."""
