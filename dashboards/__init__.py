"""What people see: figures, page contexts, templates and mails, all made from results."""
