"""What the analysis says about each site, kept up to date."""
