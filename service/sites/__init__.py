"""The register of installations."""
