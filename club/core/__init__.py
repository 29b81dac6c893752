"""What the rooms share. It stands at the bottom of the house and imports none of ours."""
