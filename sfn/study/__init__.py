"""What pages and commands have worked out, a module a question: over all parts below; documents are `sfn.answer`'s."""
