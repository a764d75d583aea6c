"""When it runs by itself: which runs are due (pure), units for systemd and cron, and the loop."""
