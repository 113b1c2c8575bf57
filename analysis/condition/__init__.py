"""The collector's condition: steady hours against the test report and the plant's own past."""
