"""Form fields <-> document, keeping what was typed.

A field is named after its place in the document: ``stages-2-latency_us`` is ``stages[2].latency_us``.
Its label, unit, choices and help sentence come from the model (`sfn.plan`), so a key added there
appears here. `fields` describes what a page shows, `typed` puts what was typed into a document,
`structure` adds, removes and moves sites, stages, fields and chains, `draft` is a document not yet saved.
"""
