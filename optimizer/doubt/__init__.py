"""Choosing and telling plans over the logs that this one may turn out to be."""
