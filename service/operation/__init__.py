"""Operating the service: logs, health, figures for a monitor, and the look over an installation."""
