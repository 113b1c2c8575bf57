"""Weather of a site: files handed in, an address to fetch from, and the hours they gave."""
