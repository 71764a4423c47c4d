"""Renderers: each turns finished values into text and computes nothing."""
