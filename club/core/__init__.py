"""What every room may use: no models, and nothing of any room."""
