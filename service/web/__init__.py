"""The HTTP application: routes, guards, sessions."""
