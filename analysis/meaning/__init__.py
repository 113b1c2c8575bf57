"""What the columns of an unknown log mean: header words and units, checked against physics."""
