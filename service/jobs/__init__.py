"""The worker process, its claims and its timetable."""
