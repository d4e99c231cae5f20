"""Accounts, certificates and access lists, made from the plant file and the topic tree."""
