"""The pages: load, build the context, render. What is drawn is decided in `dashboards`."""
