"""Computations that another process or machine can do: plain data and the name of a function out of one table."""
