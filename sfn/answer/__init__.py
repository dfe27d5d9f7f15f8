"""The documents that commands, pages and the HTTP interface answer with, one module a command.

Keys, units, signs and orders are promised to outside scripts; fields are added freely and never renamed.
"""
