"""Accounts, roles and visits of those who use the pages, and signing off a trainee's practice."""
