"""Who may see what: sign-in, sessions, first password, gateway keys."""
