"""The user's own bench: a folder of readings in, and what happened when the appliance ran on the unit for real."""
