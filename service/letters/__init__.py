"""Letters to customers: once a year what their plant saved them, as a mail with the sheet."""
