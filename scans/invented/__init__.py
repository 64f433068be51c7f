"""Invented logs, yards and phone scans whose truth is known: to try things on, and to measure by."""
