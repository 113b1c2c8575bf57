"""One file, one figure, one public function: results in, a figure out."""
