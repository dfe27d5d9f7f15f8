"""The web application: shows the engine, computes nothing."""
