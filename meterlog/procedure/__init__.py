"""Procedures: the ordered steps for one type of appliance, written in YAML by their user."""
