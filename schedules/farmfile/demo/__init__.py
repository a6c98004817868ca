"""The invented farm brought to life around now: its file, and a history that leads up to today."""
