"""What people do about findings: taking them up, visits, putting right, records."""
